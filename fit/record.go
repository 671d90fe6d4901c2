package fit

import (
	"fmt"
	"slices"
	"time"

	"coilsweep/capture"
	"coilsweep/capture/partsfile"
)

// Analysis is the number of the analysis: it is raised when the same takes and options
// give another result, other numbers or another judgement, and not for words. A result
// with another number is out of date, whichever program made it.
const Analysis = 4

// Record says from what a result was made and how, so that it can be made again
// and an outdated one is noticed. It holds no time of day: the same takes,
// program and options give the same file, byte for byte.
type Record struct {
	Analysis   int           `json:"analysis"`
	CoilSHA256 string        `json:"coil_sha256"` // of coil.toml
	Takes      []TakeRecord  `json:"takes"`       // all of the folder, used or not
	Options    OptionsRecord `json:"options"`
}

// TakeRecord is one take that lay in the folder. The checksum of its audio
// stands in its take.toml and in TakeResult.
type TakeRecord struct {
	Name    string         `json:"name"`
	SHA256  string         `json:"take_sha256"` // of take.toml
	Started *time.Time     `json:"started"`     // null: take.toml could not be read
	Flags   []capture.Flag `json:"flags"`
}

// OptionsRecord are the options of an analysis that change its result.
type OptionsRecord struct {
	Models     []string `json:"models"` // none: the whole ladder
	SharedGain bool     `json:"shared_gain"`
	Advise     bool     `json:"advise"`
	AtHand     []string `json:"at_hand,omitempty"` // parts of which the advice proposes one
	MonteCarlo int      `json:"montecarlo"`
	Seed       uint64   `json:"seed"` // of the trials; 0 without trials
}

// NewRecord is the record of an analysis with options of a folder whose contents
// are held; takes are those of its takes that could be read.
func NewRecord(held capture.Fingerprint, takes []capture.Take, options Options) *Record {
	r := &Record{Analysis: Analysis, CoilSHA256: held.CoilSHA256, Takes: []TakeRecord{}, Options: options.Record()}
	for _, h := range held.Takes {
		t := TakeRecord{Name: h.Name, SHA256: h.SHA256, Flags: []capture.Flag{}}
		if at := slices.IndexFunc(takes, func(t capture.Take) bool { return t.Name == h.Name }); at >= 0 {
			t.Started = &takes[at].Started
			t.Flags = append(t.Flags, takes[at].Quality.Flags...)
		}
		r.Takes = append(r.Takes, t)
	}
	return r
}

// Take is the record of a take with that name and checksum.
func (r *Record) Take(held capture.TakeFingerprint) (TakeRecord, bool) {
	if r == nil {
		return TakeRecord{}, false
	}
	at := slices.IndexFunc(r.Takes, func(t TakeRecord) bool { return t.Name == held.Name && t.SHA256 == held.SHA256 })
	if at < 0 {
		return TakeRecord{}, false
	}
	return r.Takes[at], true
}

// Started is when the take called name was made; nil where that is not known.
func (r *Record) Started(name string) *time.Time {
	if r == nil {
		return nil
	}
	at := slices.IndexFunc(r.Takes, func(t TakeRecord) bool { return t.Name == name })
	if at < 0 {
		return nil
	}
	return r.Takes[at].Started
}

// Record is the part of the options that belongs into a result.
func (o Options) Record() OptionsRecord {
	r := OptionsRecord{Models: []string{}, SharedGain: o.SharedGain, Advise: o.Advise, MonteCarlo: o.MonteCarlo}
	for _, form := range o.Forms {
		r.Models = append(r.Models, form.Name())
	}
	r.AtHand = append(partsfile.Texts(o.AtHand.Capacitors), partsfile.Texts(o.AtHand.Resistors)...)
	if o.MonteCarlo > 0 {
		r.Seed = o.Seed
	}
	return r
}

// Options are the options that were recorded. The error names a model that
// this program does not know.
func (r OptionsRecord) Options() (Options, error) {
	o := Options{SharedGain: r.SharedGain, Advise: r.Advise, MonteCarlo: r.MonteCarlo, Seed: r.Seed}
	for _, name := range r.Models {
		form, ok := FormNamed(name)
		if !ok {
			return o, fmt.Errorf("there is no model %q", name)
		}
		o.Forms = append(o.Forms, form)
	}
	return o, nil
}

// Equal tells whether both options give the same result.
func (r OptionsRecord) Equal(s OptionsRecord) bool {
	return slices.Equal(r.Models, s.Models) && r.SharedGain == s.SharedGain && r.Advise == s.Advise &&
		slices.Equal(r.AtHand, s.AtHand) &&
		r.MonteCarlo == s.MonteCarlo && r.Seed == s.Seed
}

// Stale lists the reasons why the result is out of date for a folder whose contents
// are now held; none: it is up to date.
func (r *Result) Stale(held capture.Fingerprint) []string {
	var why []string
	if r.Schema != ResultSchema {
		why = append(why, fmt.Sprintf("its format is %q, this program writes %q", r.Schema, ResultSchema))
	}
	if r.Record == nil {
		return append(why, "it does not say what it was made from")
	}
	if r.Record.Analysis != Analysis {
		why = append(why, fmt.Sprintf("%s analysed otherwise (number %d, this program's is %d)", r.Program,
			r.Record.Analysis, Analysis))
	}
	if r.Record.CoilSHA256 != held.CoilSHA256 {
		why = append(why, "coil.toml was edited")
	}
	had := map[string]string{}
	for _, t := range r.Record.Takes {
		had[t.Name] = t.SHA256
	}
	for _, t := range held.Takes {
		sum, there := had[t.Name]
		switch {
		case !there:
			why = append(why, fmt.Sprintf("take %q was added", t.Name))
		case sum != t.SHA256:
			why = append(why, fmt.Sprintf("take %q was changed", t.Name))
		}
		delete(had, t.Name)
	}
	for _, t := range r.Record.Takes {
		if _, gone := had[t.Name]; gone {
			why = append(why, fmt.Sprintf("take %q was removed", t.Name))
		}
	}
	return why
}
