package capture

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"coilsweep/capture/align"
	"coilsweep/capture/instrument"
	"coilsweep/capture/tomlkey"
	"coilsweep/capture/wav"
	"coilsweep/excite"
	"coilsweep/excite/quantity"
)

const (
	TakeSchema = "coilsweep.take/1"
	AudioFile  = "capture.wav"
)

// Take is take.toml: everything about one recorded run that is not audio.
type Take struct {
	Schema string `toml:"schema"` // "coilsweep.take/1"
	Name   string `toml:"name"`
	// State is that of the coil: Coil.State.
	State     string          `toml:"state,omitempty"`
	Started   time.Time       `toml:"started"`
	Program   string          `toml:"program"`            // program and version that wrote the take
	Operator  string          `toml:"operator,omitempty"` // who made it
	Load      Load            `toml:"load"`
	Drive     Drive           `toml:"drive"`
	Reference Reference       `toml:"reference"`
	Bench     Bench           `toml:"bench"`
	Card      Card            `toml:"card,omitempty"`
	Audio     Audio           `toml:"audio"`
	Quality   Quality         `toml:"quality"`
	Stimulus  excite.Stimulus `toml:"stimulus"`
	// Alignment is where the repeats lie in the audio; nil where none was found,
	// and in takes of other versions of the program.
	Alignment *align.Alignment `toml:"alignment,omitempty"`
	// BenchFile is the bench.toml behind the take, if any; what was used of it
	// is in the fields above.
	BenchFile *BenchFile `toml:"bench_file,omitempty"`
	// Instruments are those of the bench that its owner states.
	Instruments []instrument.Used `toml:"instruments,omitempty"`
	// Calibration is the response of the sound card that the take is to be
	// rid of; nil: none.
	Calibration *Calibration `toml:"calibration,omitempty"`
	// Linearity is the test of linearity at a second level; nil: none was made.
	Linearity *Linearity `toml:"linearity,omitempty"`
}

// BenchFile names a bench.toml as it was when it was used.
type BenchFile struct {
	Path   string `toml:"path"`
	SHA256 string `toml:"sha256"`
}

// Drive says how the exciter was driven.
type Drive struct {
	Kind     string               `toml:"kind"` // "current" or "voltage"
	Assumed  bool                 `toml:"assumed,omitempty"`
	ExciterR *quantity.Resistance `toml:"exciter_r,omitempty"`
	ExciterL *quantity.Inductance `toml:"exciter_l,omitempty"`
	// Fall is how far that is from a current source; nil where the exciter's
	// values are not stated.
	Fall *DriveFall `toml:"fall,omitempty"`
}

// Reference says what the second channel holds.
type Reference struct {
	Kind   string               `toml:"kind"` // "none", "current" or "loopback"
	SenseR *quantity.Resistance `toml:"sense_r,omitempty"`
}

// Bench is where a take was made.
type Bench struct {
	Source       string  `toml:"source"` // "soundcard", "virtual" or "import"
	InputDevice  string  `toml:"input_device,omitempty"`
	OutputDevice string  `toml:"output_device,omitempty"`
	HostAPI      string  `toml:"host_api,omitempty"`
	BufferS      float64 `toml:"buffer_s,omitempty"`
	// TwoClocks: input and output are known to be different pieces of hardware.
	TwoClocks bool `toml:"two_clocks,omitempty"`
	// File and FileSHA256 name the recording that was imported; for the
	// simulated bench, its description.
	File             string   `toml:"file,omitempty"`
	FileSHA256       string   `toml:"file_sha256,omitempty"`
	Notes            []string `toml:"notes,omitempty"`
	CoilChannel      int      `toml:"coil_channel,omitempty"`      // channel of the device or file, from 1
	ReferenceChannel int      `toml:"reference_channel,omitempty"` // 0: none
}

// Audio describes the audio of a take.
type Audio struct {
	// File is AudioFile, or FLACFile where that was asked for and can be; in a plan, what
	// is asked for, and empty for AudioFile.
	File     string `toml:"file"`
	SHA256   string `toml:"sha256"`
	RateHz   int    `toml:"rate_hz"`
	Channels int    `toml:"channels"`
	Frames   int64  `toml:"frames"`
	// SampleBits and SamplesSHA256 are for FLACFile: the size of a sample, and what
	// flac.Audio.SamplesSum says of all.
	SampleBits    int    `toml:"sample_bits,omitzero"`
	SamplesSHA256 string `toml:"samples_sha256,omitempty"`
	// StaysWAV says why it is AudioFile though FLACFile was asked for.
	StaysWAV string `toml:"stays_wav,omitempty"`
}

// Quality is what the audio itself says of the take.
type Quality struct {
	Flags []Flag `toml:"flags"`
	// PeakDBFS and RMSDBFS of the coil channel while a sweep plays.
	PeakDBFS float64 `toml:"peak_dbfs"`
	RMSDBFS  float64 `toml:"rms_dbfs"`
	// NoiseDBFS is the rms of the lead-in silence (of a gap between repeats
	// where the lead-in was not recorded), offset taken off; 0 where there is
	// no silence. HumDBFS is the part of it at multiples of MainsHz, 0 where
	// no hum stands out.
	NoiseDBFS float64 `toml:"noise_dbfs"`
	HumDBFS   float64 `toml:"hum_dbfs,omitempty"`
	MainsHz   float64 `toml:"mains_hz,omitempty"`
	// SNRDB is the sweep between 500 Hz and 2 kHz over the noise without hum,
	// 0 where there is no silence.
	SNRDB float64 `toml:"snr_db"`
	// ClippedSamples counts samples in runs at the rails.
	ClippedSamples int     `toml:"clipped_samples"`
	DriftPPM       float64 `toml:"drift_ppm"` // recorded period against the stimulus, minus 1
	Polarity       int     `toml:"polarity"`  // +1 or -1
	// AlignmentQuality is that of Align, 0 … 1.
	AlignmentQuality float64 `toml:"alignment_quality"`
	// DamagedRepeats numbers (from 0) the repeats that are not to be used:
	// samples are lost in them, or they are clipped where others are not.
	DamagedRepeats []int `toml:"damaged_repeats,omitempty"`
	// ClippedRepeats are those of them that are clipped but lost nothing.
	ClippedRepeats []int `toml:"clipped_repeats,omitempty"`
	// ChangedRepeats are those of them that are not of the steady part of a take
	// that Changed; none where it is not clear which part that is.
	ChangedRepeats []int  `toml:"changed_repeats,omitempty"`
	Xruns          []Xrun `toml:"xruns,omitempty"`
}

// LostRepeats numbers (from 0) the repeats in which samples are lost.
func (q Quality) LostRepeats() []int {
	return slices.DeleteFunc(slices.Clone(q.DamagedRepeats), func(k int) bool {
		return slices.Contains(q.ClippedRepeats, k) || slices.Contains(q.ChangedRepeats, k)
	})
}

// Flag is a short fixed word for something wrong with a take.
type Flag string

// The flags of a take. Unfit names those that keep a take out of the fit.
const (
	// Clipped: every repeat is. ClippedRepeat: some are, and left out.
	Clipped       Flag = "clipped"
	ClippedRepeat Flag = "clipped-repeat"
	// Dropout: samples were lost, by the audio or by what the device reports.
	Dropout    Flag = "dropout"
	Drift      Flag = "drift"
	Hum        Flag = "hum"
	LowSNR     Flag = "low-snr"
	Distorted  Flag = "distorted"
	NoStimulus Flag = "no-stimulus"
	TooShort   Flag = "too-short"
	// Changed: its sweeps differ in their responses. It is usable where
	// Quality.ChangedRepeats says which of them are left out for that.
	Changed Flag = "changed"
	// Processed: a lossy coder or an effect altered the recording.
	Processed Flag = "processed"
	// Resampled: the band of the noise ends clearly below half the sampling rate.
	Resampled Flag = "resampled"
	// What is connected wrongly: the coil's and the reference's channel are each
	// other's, or carry one signal; the output is recorded without a coil; the
	// reference has nothing of the sweep; the halves of the coil cancel each other;
	// the sweep is heard by crosstalk alone.
	SwappedChannels Flag = "swapped-channels"
	SameSignal      Flag = "same-signal"
	NoCoil          Flag = "no-coil"
	NoReference     Flag = "no-reference"
	Cancels         Flag = "cancels"
	Crosstalk       Flag = "crosstalk"
)

// Unfit lists the flags that keep the take out of the fit; none where it is
// usable.
func (t Take) Unfit() []Flag {
	var unfit []Flag
	for _, f := range t.Quality.Flags {
		if f.Unfit() || f == Changed && len(t.Quality.ChangedRepeats) == 0 {
			unfit = append(unfit, f)
		}
	}
	return unfit
}

// maxTakeName is the longest name of a take, in characters.
const maxTakeName = 64

// CheckTakeName returns an error unless name can be the name of a take, and so
// of a folder on any file system: letters, digits, - and _, at most 64.
func CheckTakeName(name string) error {
	odd := func(c rune) bool {
		return (c < 'a' || c > 'z') && (c < 'A' || c > 'Z') && (c < '0' || c > '9') && c != '-' && c != '_'
	}
	switch {
	case name == "":
		return errors.New("the take has no name")
	case len(name) > maxTakeName:
		return fmt.Errorf("take name %.20q… is too long: use at most %d characters", name, maxTakeName)
	case strings.ContainsFunc(name, odd):
		return fmt.Errorf("take name %q: use letters (a-z), digits, - and _ only", name)
	}
	return checkFileName(name)
}

// CheckPlan reports the first thing wrong with what a take is to be, before
// anything is played or read.
func (t Take) CheckPlan() error {
	if err := CheckTakeName(t.Name); err != nil {
		return err
	}
	switch d, r := t.Drive, t.Reference.Kind; {
	case d.Kind != "current" && d.Kind != "voltage":
		return fmt.Errorf(`exciter drive is %q: want "current" or "voltage"`, d.Kind)
	case d.Kind == "voltage" && d.ExciterR == nil:
		return errors.New("a voltage-driven exciter needs its resistance")
	case r != "none" && r != "current" && r != "loopback":
		return fmt.Errorf(`reference is %q: want "none", "current" or "loopback"`, r)
	}
	if err := t.Stimulus.Validate(); err != nil {
		return fmt.Errorf("stimulus: %w", err)
	}
	if err := t.Card.check(); err != nil {
		return fmt.Errorf("sound card: %w", err)
	}
	if t.Calibration != nil {
		return t.Calibration.Covers(t)
	}
	return nil
}

// check reports the first thing wrong with a take that was read from disk.
func (t Take) check() error {
	if t.Schema != TakeSchema {
		return fmt.Errorf("schema is %q, this program reads %q", t.Schema, TakeSchema)
	}
	if err := t.CheckPlan(); err != nil {
		return err
	}
	switch a := t.Audio; {
	case a.File != AudioFile && a.File != FLACFile:
		return fmt.Errorf("audio file is %q, want %q or %q", a.File, AudioFile, FLACFile)
	case a.RateHz != t.Stimulus.RateHz:
		return fmt.Errorf("audio at %d Hz, stimulus at %d Hz", a.RateHz, t.Stimulus.RateHz)
	case a.Channels < 1 || t.Reference.Kind != "none" && a.Channels < 2:
		return fmt.Errorf("%s of audio are too few with reference %q", ChannelCount(a.Channels), t.Reference.Kind)
	}
	for _, i := range t.Instruments {
		if err := i.Check(); err != nil {
			return fmt.Errorf("%s: %w", i.Role, err)
		}
	}
	if t.Linearity != nil {
		return t.Linearity.check()
	}
	return nil
}

// Lapsed says of which instruments the calibration was not valid any more when the take
// was made.
func (t Take) Lapsed() (said []string) {
	for _, i := range t.Instruments {
		if text := i.Lapsed(t.Name, t.Started); text != "" {
			said = append(said, text)
		}
	}
	return said
}

func EncodeTake(t Take) ([]byte, error) {
	data, err := tomlkey.Encode(t)
	if err != nil {
		return nil, fmt.Errorf("take.toml: %w", err)
	}
	return data, nil
}

func DecodeTake(data []byte) (Take, error) {
	return tomlkey.DecodeChecked(data, Take.check)
}

// Unfit reports whether a take with this flag is of no use to a fit. A
// drop-out and a clipped repeat are none: the damaged repeats are left out. For
// Changed see Take.Unfit.
func (f Flag) Unfit() bool {
	switch f {
	case Clipped, NoStimulus, TooShort, SwappedChannels, SameSignal, NoCoil, NoReference, Cancels, Crosstalk:
		return true
	}
	return false
}

// Flag adds f to the flags, once.
func (q *Quality) Flag(f Flag) {
	if !slices.Contains(q.Flags, f) {
		q.Flags = append(q.Flags, f)
	}
}

// Xrun is a place in the recording where the device says that samples were
// lost or late.
type Xrun struct {
	Frame int64  `toml:"frame"` // position in recorded frames
	Kind  string `toml:"kind"`  // "input-overflow", "output-underflow", ...
}

// HasReference tells whether the second channel is a reference.
func (t Take) HasReference() bool { return t.Reference.Kind != "" && t.Reference.Kind != "none" }

// Referenced tells whether the sound card is out of the take's response.
func (t Take) Referenced() bool {
	return t.Reference.Kind == "current" || t.Reference.Kind == "loopback" || t.Calibration != nil
}

// AudioInfo are the texts in the audio file of the take: what it is should it be found without
// its folder.
func (t Take) AudioInfo() wav.Info {
	return wav.Info{Name: t.Name, Created: t.Started.Format("2006-01-02T15:04:05.000-07:00"), Software: t.Program,
		Comment: "coilsweep take, stimulus sha256 " + t.Stimulus.SHA256}
}

// FlagNames are flags in words, "none" where there are none.
func FlagNames(flags []Flag) string {
	if len(flags) == 0 {
		return "none"
	}
	words := make([]string, len(flags))
	for i, f := range flags {
		words[i] = string(f)
	}
	return strings.Join(words, ", ")
}

// UnfitError says that something was done, on data that are not usable.
type UnfitError struct {
	What  string
	Flags []Flag // why; none where What says it
	// Quality is that of the take, where it is about one.
	Quality Quality
}

func (e *UnfitError) Error() string {
	if len(e.Flags) == 0 {
		return e.What
	}
	return e.What + ": " + FlagNames(e.Flags)
}
