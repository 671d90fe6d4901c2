package evaluation

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"coilsweep/capture"
	"coilsweep/excite/quantity"
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
// estimated for that: it serves a fit of the folder as Options.Before, and the next take
// from fit.cache.
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
	inputs, err := seen.estimate(ctx, before, readResponses(folder.Dir, held))
	if err != nil {
		return nil, nil, err
	}
	_ = seen.writeResponses() // without them the next take is estimated with all before it
	for _, f := range contradictions(inputs) {
		if f.Concerns(name) {
			said = append(said, f.Text)
		}
	}
	return said, seen, nil
}

// enough is how many takes tell which facts are stated wrongly: more of them tell it hardly
// better, and would make each take cost more than the one before.
const enough = 8

// Doubted are the stated facts that the takes of e contradict together, as the fit of those
// that tell most beside the take called name judges them, and said is what to do. None
// where e has less than two usable takes, or they cannot be fitted. The models are those of
// the last fit. Where the takes are all that a fit of the folder uses, its search is kept
// in fit.cache for that.
func (e *Evaluation) Doubted(ctx context.Context, name, program string) (facts []string, said string) {
	var inputs []joint.Take
	for _, t := range e.Takes {
		if in, ok := e.Input(t.Name); ok {
			inputs = append(inputs, in)
		}
	}
	contradictions(inputs)
	inputs = slices.DeleteFunc(inputs, func(in joint.Take) bool { return in.Unfit != "" })
	if len(inputs) < 2 {
		return nil, ""
	}
	o := fit.Options{Program: program}
	last, _ := Load(e.Folder.Dir) // one that cannot be read is as good as none
	e.takeOptions(last, &o)
	with := telling(inputs, name)
	fitted, err := search(ctx, e.Folder.Coil, with, o)
	if err != nil {
		return nil, ""
	}
	r, err := fitted.Result(ctx)
	if err != nil {
		return nil, ""
	}
	if len(with) == len(inputs) {
		_ = e.writeAhead(fitted, o) // without it the fit makes the search again
	}
	if len(r.Contradicted) == 0 {
		return nil, ""
	}
	return r.Contradicted, r.Warnings[0]
}

// telling are enough of inputs, in their order: the take called name, the one whose load is
// most like its, against which an error of this take alone shows, and those whose loads
// differ most.
func telling(inputs []joint.Take, name string) []joint.Take {
	if len(inputs) <= enough {
		return inputs
	}
	at := max(0, slices.IndexFunc(inputs, func(in joint.Take) bool { return in.Name == name }))
	picked := []int{at}
	for len(picked) < enough {
		best, far := -1, math.Inf(-1)
		for i := range inputs {
			if slices.Contains(picked, i) {
				continue
			}
			d := math.Inf(1)
			for _, p := range picked {
				d = min(d, unlike(inputs[i].Load, inputs[p].Load))
			}
			if len(picked) == 1 {
				d = -d
			}
			if d >= far { // of equal ones the latest
				best, far = i, d
			}
		}
		picked = append(picked, best)
	}
	slices.Sort(picked)
	out := make([]joint.Take, len(picked))
	for i, p := range picked {
		out[i] = inputs[p]
	}
	return out
}

// unlike is how far two loads are apart for a coil of usual size, as a sum of logarithms.
func unlike(a, b capture.Load) float64 {
	size := func(l capture.Load) (farad, siemens float64) {
		farad, siemens = 100e-12, 1e-6 // the coil's own, and about what its loss comes to
		for _, c := range []*quantity.Capacitance{l.FixtureC, l.AddedC} {
			if c != nil {
				farad += c.SI
			}
		}
		for _, r := range []*quantity.Resistance{l.FixtureR, l.AddedR} {
			if r != nil {
				siemens += 1 / r.SI
			}
		}
		return farad, siemens
	}
	c, g := size(a)
	d, h := size(b)
	return math.Abs(math.Log(c/d)) + math.Abs(math.Log(g/h))
}

// OnOtherFixture tells whether the fixture of the take called name is stated otherwise than
// that of all other usable takes, and whether it is compared with some of them all the same,
// since the capacitance of both fixtures is stated.
func (e *Evaluation) OnOtherFixture(name string) (other, compared bool) {
	at := slices.IndexFunc(e.Takes, func(t capture.Take) bool { return t.Name == name && t.Unfit() == nil })
	others := slices.DeleteFunc(slices.Clone(e.Takes), func(t capture.Take) bool {
		return t.Name == name || t.Unfit() != nil
	})
	if at < 0 || len(others) == 0 {
		return false, false
	}
	is := func(what func(a, b capture.Load) bool) bool {
		return slices.ContainsFunc(others, func(t capture.Take) bool { return what(t.Load, e.Takes[at].Load) })
	}
	return !is(consistency.SameFixture), is(consistency.Comparable)
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
