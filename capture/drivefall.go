package capture

import "coilsweep/excite/exciter"

// DriveFall is how far a drive with stated resistance and inductance is from a
// current source.
type DriveFall struct {
	// DB is by how much the exciter's current is lower at AtHz, the end of the
	// sweep, than at low frequencies.
	DB   float64 `toml:"db"`
	AtHz float64 `toml:"at_hz"`
	// Corrected: the fall is taken out of the response, by the stated values
	// of a voltage drive or by a reference that measures the current.
	Corrected bool `toml:"corrected"`
}

// Matters tells whether the response of the take has an error by the fall:
// it is not corrected, and more than an exciter is designed for.
func (f *DriveFall) Matters() bool {
	return f != nil && !f.Corrected && f.DB > exciter.DefaultGoal.LimitDB
}

// DriveFall is the fall of t's drive; nil where the exciter's values are not
// stated.
func (t Take) DriveFall() *DriveFall {
	d := t.Drive
	if d.ExciterR == nil || d.ExciterL == nil || !(d.ExciterR.SI > 0) {
		return nil
	}
	return &DriveFall{
		DB:        exciter.CurrentDropDB(d.ExciterR.SI, d.ExciterL.SI, t.Stimulus.ToHz),
		AtHz:      t.Stimulus.ToHz,
		Corrected: d.Kind == "voltage" || t.Reference.Kind == "current",
	}
}

// DriveLimitDB is by how much the exciter's current may be lower at 20 kHz than the
// take's response is corrected for, in dB. It is 0 where the current was measured,
// the fall is corrected, or a current source was stated; else what the stated values
// make of a voltage, or where nothing was stated what an exciter is designed for.
func (t Take) DriveLimitDB() float64 {
	d := t.Drive
	valued := d.ExciterR != nil && d.ExciterL != nil && d.ExciterR.SI > 0
	switch {
	case t.Reference.Kind == "current" || d.Kind == "direct" || d.Kind == "voltage" && valued:
		return 0
	case valued:
		return exciter.CurrentDropDB(d.ExciterR.SI, d.ExciterL.SI, exciter.DefaultGoal.TopHz)
	case d.Assumed || d.Kind == "voltage":
		return exciter.DefaultGoal.LimitDB
	}
	return 0
}
