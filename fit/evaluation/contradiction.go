package evaluation

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"coilsweep/capture"
	"coilsweep/fit"
	"coilsweep/fit/consistency"
	"coilsweep/fit/joint"
)

// noModelChi2 is the reduced chi-square from which on no number that takes were needed
// together for is of use: residuals are ten times the noise.
const noModelChi2 = 100

// contradictions compares inputs with each other, flags those of which something
// wrong is stated, and leaves out those of which that is clear.
func contradictions(inputs []joint.Take) []consistency.Finding {
	var takes []consistency.Take
	for _, in := range inputs {
		if in.Unfit == "" {
			takes = append(takes, consistency.Take{Name: in.Name, Load: in.Load, Response: in.Response})
		}
	}
	found := consistency.Check(takes)
	for _, f := range found {
		for i := range inputs {
			if in := &inputs[i]; slices.Contains(f.Takes, in.Name) {
				in.Flags = append(slices.Clone(in.Flags), f.Flag())
				if f.LeaveOut {
					in.Unfit = f.Flag()
				}
			}
		}
	}
	return found
}

// Contradictions say what is wrong with what is stated of the take called name, by
// the other takes of folder: what is seen and what to do. None where nothing is, or
// where the take is not usable. before may be nil. seen holds what was read and
// estimated for that: it serves a fit of the folder as Options.Before.
func Contradictions(ctx context.Context, folder *capture.Folder, name string,
	before *Evaluation) (said []string, seen *Evaluation, err error) {
	held, err := folder.Fingerprint()
	if err != nil {
		return nil, nil, err
	}
	seen = &Evaluation{Folder: folder, held: held}
	seen.readTakes(before)
	if t := slices.IndexFunc(seen.Takes, func(t capture.Take) bool { return t.Name == name }); len(seen.Takes) < 2 ||
		t < 0 || seen.Takes[t].Unfit() != nil {
		return nil, seen, nil
	}
	inputs, err := seen.estimate(ctx, before, nil)
	if err != nil {
		return nil, nil, err
	}
	for _, f := range contradictions(inputs) {
		if f.Concerns(name) {
			said = append(said, f.Text)
		}
	}
	return said, seen, nil
}

// OnOtherFixture tells whether the take called name is compared with none of the other
// usable takes, because their fixture is stated differently.
func (e *Evaluation) OnOtherFixture(name string) bool {
	at := slices.IndexFunc(e.Takes, func(t capture.Take) bool { return t.Name == name && t.Unfit() == nil })
	others := slices.DeleteFunc(slices.Clone(e.Takes), func(t capture.Take) bool {
		return t.Name == name || t.Unfit() != nil
	})
	return at >= 0 && len(others) > 0 && !slices.ContainsFunc(others, func(t capture.Take) bool {
		return consistency.SameFixture(t.Load, e.Takes[at].Load)
	})
}

// singly fills in what the shape of each take by itself shows, resonance, Q and peak,
// where the fit of all takes says nothing of it or explains none of them. last, if not nil,
// is the result of the same fit, which has that.
func (e *Evaluation) singly(ctx context.Context, inputs []joint.Take, o fit.Options, last *fit.Result) error {
	for i := range e.Result.Takes {
		r := &e.Result.Takes[i]
		at := slices.IndexFunc(inputs, func(in joint.Take) bool { return in.Name == r.Name && in.Response != nil })
		lost := r.Used && (noModel(e.Result) || !r.Resonance.Known() && !r.Peak.Known())
		if at < 0 || len(inputs) < 2 || !lost && !slices.ContainsFunc(r.Flags, consistency.IsFlag) {
			continue
		}
		t, known := takeOf(last, r.Name)
		if !known {
			in := inputs[at]
			in.Unfit = ""
			fitted, err := search(ctx, e.Folder.Coil, []joint.Take{in}, fit.Options{Program: o.Program, Forms: o.Forms})
			if err != nil {
				return err
			}
			alone, err := fitted.Result(ctx)
			if err != nil {
				return err
			}
			t = alone.Takes[0]
		}
		r.Resonance, r.Q, r.Peak, r.PeakDB, r.WidthHz = t.Resonance, t.Q, t.Peak, t.PeakDB, t.WidthHz
	}
	return nil
}

// takeOf is the take called name in r, which may be nil.
func takeOf(r *fit.Result, name string) (t fit.TakeResult, ok bool) {
	if r != nil {
		if i := slices.IndexFunc(r.Takes, func(t fit.TakeResult) bool { return t.Name == name }); i >= 0 {
			return r.Takes[i], true
		}
	}
	return t, false
}

func noModel(r *fit.Result) bool { return r.Model.Chi2Reduced >= noModelChi2 }

// Unfitness is the error of an evaluation without some takes, of takes that
// contradict each other, or of a result that explains none; nil where all is well.
func (e *Evaluation) Unfitness() error {
	var what []string
	if len(e.LeftOut) > 0 {
		what = append(what, "left out: "+strings.Join(e.LeftOut, "; "))
	}
	if e.Result != nil {
		for _, t := range e.Result.Takes {
			if i := slices.IndexFunc(t.Flags, consistency.IsFlag); i >= 0 && t.Used {
				what = append(what, fmt.Sprintf("take %q: %s", t.Name, t.Flags[i]))
			}
		}
		if c := e.Result.Contradicted; len(c) > 0 {
			what = append(what, "the takes contradict "+strings.Join(c, "; "))
		}
		if noModel(e.Result) {
			what = append(what, fmt.Sprintf("no model explains the takes (reduced chi-square %.3g)",
				e.Result.Model.Chi2Reduced))
		}
	}
	if what == nil {
		return nil
	}
	return &capture.UnfitError{What: strings.Join(what, "; ")}
}
