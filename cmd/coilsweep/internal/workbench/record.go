package workbench

import (
	"math"

	"coilsweep/capture"
	"coilsweep/capture/soundcard"
	"coilsweep/report/notation"
)

// TakeRecord is a take for programs.
type TakeRecord struct {
	Take             string         `json:"take"`
	Folder           string         `json:"folder"`
	FitForUse        bool           `json:"fit_for_use"`
	Flags            []capture.Flag `json:"flags"`
	PeakDBFS         *float64       `json:"peak_dbfs"` // null: not known
	RMSDBFS          *float64       `json:"rms_dbfs"`
	NoiseDBFS        *float64       `json:"noise_dbfs"`
	HumDBFS          *float64       `json:"hum_dbfs"` // null: none stands out
	MainsHz          *float64       `json:"mains_hz"`
	SNRDB            *float64       `json:"snr_db"`
	ClippedSamples   int            `json:"clipped_samples"`
	DriftPPM         *float64       `json:"drift_ppm"`
	Polarity         int            `json:"polarity"`
	AlignmentQuality *float64       `json:"alignment_quality"`
	DamagedRepeats   []int          `json:"damaged_repeats"`
	ClippedRepeats   []int          `json:"clipped_repeats"` // of the damaged ones
	DriveFall        *FallRecord    `json:"drive_fall"`      // null: not known
	Extras
}

// FallRecord is how far the drive was from a current source.
type FallRecord struct {
	DB        float64 `json:"db"`
	AtHz      float64 `json:"at_hz"`
	Corrected bool    `json:"corrected"`
}

// NewTakeRecord is the record of a take of folder.
func NewTakeRecord(folder *capture.Folder, t capture.Take, extras Extras) TakeRecord {
	q := t.Quality
	return TakeRecord{
		Take: t.Name, Folder: folder.TakeDir(t.Name),
		FitForUse: t.Unfit() == nil, Flags: append([]capture.Flag{}, q.Flags...),
		PeakDBFS: Finite(q.PeakDBFS), RMSDBFS: Finite(q.RMSDBFS), NoiseDBFS: Measured(q.NoiseDBFS),
		HumDBFS: Measured(q.HumDBFS), MainsHz: Measured(q.MainsHz), SNRDB: Measured(q.SNRDB),
		ClippedSamples: q.ClippedSamples, DriftPPM: Finite(q.DriftPPM), Polarity: q.Polarity,
		AlignmentQuality: Finite(q.AlignmentQuality), DamagedRepeats: append([]int{}, q.DamagedRepeats...),
		ClippedRepeats: append([]int{}, q.ClippedRepeats...), DriveFall: (*FallRecord)(t.Drive.Fall), Extras: extras,
	}
}

// Measured is Finite for values whose 0 means that they could not be measured.
func Measured(x float64) *float64 {
	if x == 0 {
		return nil
	}
	return Finite(x)
}

// Finite is x, or nil where JSON has no number for it.
func Finite(x float64) *float64 {
	if math.IsInf(x, 0) || math.IsNaN(x) {
		return nil
	}
	return &x
}

// DeviceRecord is a sound device for programs.
type DeviceRecord struct {
	Number         int     `json:"number"`
	Name           string  `json:"name"`
	System         string  `json:"system"`
	InputChannels  int     `json:"input_channels"`
	OutputChannels int     `json:"output_channels"`
	DefaultRateHz  float64 `json:"default_rate_hz"`
	RatesHz        []int   `json:"rates_hz"`
	DefaultInput   bool    `json:"default_input"`
	DefaultOutput  bool    `json:"default_output"`
	MayResample    bool    `json:"may_resample"`
	Trouble        string  `json:"trouble,omitempty"`
}

// DeviceRecords are the records of devices; an empty list, not null, of none.
func DeviceRecords(devices []soundcard.Device) []DeviceRecord {
	return notation.Each(devices, func(d soundcard.Device) DeviceRecord {
		return DeviceRecord{
			Number: d.Number, Name: d.Name, System: d.HostAPI,
			InputChannels: d.InputChannels, OutputChannels: d.OutputChannels,
			DefaultRateHz: d.DefaultRateHz, RatesHz: append([]int{}, d.RatesHz...),
			DefaultInput: d.DefaultInput, DefaultOutput: d.DefaultOutput,
			MayResample: d.MayResample, Trouble: d.Trouble,
		}
	})
}
