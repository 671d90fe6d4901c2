package main

import (
	"fmt"
	"math"

	"coilsweep/capture"
	"coilsweep/excite/quantity"
)

// takeRecord is what 'measure --json' and 'import --json' print.
type takeRecord struct {
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
	DriveFall        *fallRecord    `json:"drive_fall"`      // null: not known
	takeExtras
}

// fallRecord is how far the drive was from a current source.
type fallRecord struct {
	DB        float64 `json:"db"`
	AtHz      float64 `json:"at_hz"`
	Corrected bool    `json:"corrected"`
}

// driveWords is a line on the drive; empty where its fall is not known.
func driveWords(f *capture.DriveFall) string {
	if f == nil {
		return ""
	}
	state := "not corrected"
	if f.Corrected {
		state = "corrected"
	}
	return fmt.Sprintf("the exciter's current is %.2g dB lower at %s than that of a current source: %s",
		f.DB, quantity.Format(f.AtHz, quantity.Hertz, 2), state)
}

// takeExtras are what 'measure' was asked for besides the take; nil: not.
type takeExtras struct {
	Until     *precisionRecord `json:"until,omitempty"`
	Linearity *linearityRecord `json:"linearity,omitempty"`
}

func (e takeExtras) print(c *console, take string) error {
	if u := e.Until; u != nil && u.Percent != nil {
		if _, err := fmt.Fprintf(c.out, "take %s: U95 of the resonance %.2g %% after %d sweeps\n", take, *u.Percent, u.Sweeps); err != nil {
			return err
		}
	}
	if l := e.Linearity; l != nil {
		verdict := "linear"
		if !l.Linear {
			verdict = "not linear"
		}
		_, err := fmt.Fprintf(c.out, "take %s: %s between %g and %g dBFS: at most %.3f ± %.3f dB apart, about %.0f Hz\n",
			take, verdict, l.LevelsDBFS[1], l.LevelsDBFS[0], math.Abs(l.DeviationDB), quantity.Coverage95*l.UDB, l.AtHz)
		return err
	}
	return nil
}

func newTakeRecord(folder *capture.Folder, t capture.Take) takeRecord {
	q := t.Quality
	var fall *fallRecord
	if f := t.Drive.Fall; f != nil {
		fall = &fallRecord{f.DB, f.AtHz, f.Corrected}
	}
	return takeRecord{
		Take: t.Name, Folder: folder.TakeDir(t.Name),
		FitForUse: t.Unfit() == nil, Flags: append([]capture.Flag{}, q.Flags...),
		PeakDBFS: finite(q.PeakDBFS), RMSDBFS: finite(q.RMSDBFS), NoiseDBFS: known(q.NoiseDBFS),
		HumDBFS: known(q.HumDBFS), MainsHz: known(q.MainsHz), SNRDB: known(q.SNRDB),
		ClippedSamples: q.ClippedSamples, DriftPPM: finite(q.DriftPPM), Polarity: q.Polarity,
		AlignmentQuality: finite(q.AlignmentQuality), DamagedRepeats: append([]int{}, q.DamagedRepeats...),
		ClippedRepeats: append([]int{}, q.ClippedRepeats...), DriveFall: fall,
	}
}

// known is finite for values whose 0 means that they could not be measured.
func known(x float64) *float64 {
	if x == 0 {
		return nil
	}
	return finite(x)
}

// finite is x, or nil where JSON has no number for it.
func finite(x float64) *float64 {
	if math.IsInf(x, 0) || math.IsNaN(x) {
		return nil
	}
	return &x
}
