package fit

import (
	"slices"

	"coilsweep/capture"
	"coilsweep/capture/instrument"
)

// About says which coil a result is of, who measured it and with what, as it was stated.
// Nothing of it enters a number.
type About struct {
	Serial   string `json:"serial,omitempty"`
	Lot      string `json:"lot,omitempty"`
	Customer string `json:"customer,omitempty"`
	// CoilState is what was done to the coil since it was first measured; empty: nothing.
	CoilState string `json:"coil_state,omitempty"`
	// Operators made the takes, each once.
	Operators   []string        `json:"operators,omitempty"`
	Instruments []InstrumentUse `json:"instruments,omitempty"`
}

// InstrumentUse is an instrument behind a result.
type InstrumentUse struct {
	instrument.Used
	Takes []string `json:"takes,omitempty"` // it was used for; none: for what is known of the coil
	// Lapsed is the warning that its calibration was not valid any more; empty: it was, or
	// nothing is stated.
	Lapsed string `json:"lapsed,omitempty"`
}

// NewAbout is what is stated with a coil and with takes of it, in the order of their time.
// What was read of the coil itself is taken to be as old as the latest take: re-analysis
// says the same in ten years.
func NewAbout(coil capture.Coil, takes []capture.Take) About {
	a := About{Serial: coil.Serial, Lot: coil.Lot, Customer: coil.Customer, CoilState: coil.State}
	use := func(u instrument.Used, t capture.Take, of ...string) {
		if u.Words() == "" {
			return
		}
		i := slices.IndexFunc(a.Instruments, func(have InstrumentUse) bool { return have.Used == u })
		if i < 0 {
			i = len(a.Instruments)
			a.Instruments = append(a.Instruments, InstrumentUse{Used: u})
		}
		at := &a.Instruments[i]
		at.Takes = append(at.Takes, of...)
		if at.Lapsed == "" {
			at.Lapsed = u.Lapsed(t.Name, t.Started)
		}
	}
	var latest capture.Take
	for _, t := range takes {
		if t.Operator != "" && !slices.Contains(a.Operators, t.Operator) {
			a.Operators = append(a.Operators, t.Operator)
		}
		for _, u := range t.Instruments {
			use(u, t, t.Name)
		}
		latest = t
	}
	if coil.DCRMeter != nil {
		use(instrument.Used{Role: instrument.DCRMeter, Instrument: *coil.DCRMeter}, latest)
	}
	for _, m := range coil.Meter {
		use(instrument.Used{Role: instrument.Readings, Instrument: m.Instrument}, latest)
	}
	place := func(u InstrumentUse) int { return slices.Index(instrument.Roles(), u.Role) }
	slices.SortStableFunc(a.Instruments, func(b, c InstrumentUse) int { return place(b) - place(c) })
	return a
}

// UsedTakes are those of takes that the numbers come from.
func (r *Result) UsedTakes(takes []capture.Take) []capture.Take {
	return slices.DeleteFunc(slices.Clone(takes), func(t capture.Take) bool {
		return !slices.ContainsFunc(r.Takes, func(u TakeResult) bool { return u.Name == t.Name && u.Used })
	})
}

// Lapses are the warnings that calibrations were not valid any more.
func (a About) Lapses() (said []string) {
	for _, u := range a.Instruments {
		if u.Lapsed != "" {
			said = append(said, u.Lapsed)
		}
	}
	return said
}
