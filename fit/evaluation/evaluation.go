// Package evaluation leads from coil folders to results: it opens a folder,
// estimates the responses of its takes and fits them together, or takes the
// result that is up to date. Everything that shows a coil starts here. Messages
// are values; it prints nothing.
package evaluation

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"coilsweep/capture"
	"coilsweep/capture/fault"
	"coilsweep/capture/partsfile"
	"coilsweep/fit"
	"coilsweep/fit/comparison"
	"coilsweep/fit/joint"
)

// Options of an evaluation.
type Options struct {
	// Fit are those of the fit, with the program that it is made by.
	Fit fit.Options
	// AsLast: the models and the shared gain are those of the coil's last fit,
	// so that nothing contradicts its result.json.
	AsLast bool
	// Curves: the curves are needed, which a result.json does not hold; Circuit: the
	// fitted circuit, too.
	Curves, Circuit bool
	// Anew: a result that is up to date is made again, by a fit.
	Anew bool
	// Before is an earlier evaluation of the folder that is in memory; its
	// unchanged parts are used again; nil: there is none.
	Before *Evaluation
}

// Evaluation is a coil folder with its fit.
type Evaluation struct {
	Folder *capture.Folder
	// Result has curves where they or a circuit were asked for.
	Result *fit.Result
	// Takes are those that can be read, in the order of their time; none where
	// the result was up to date and no circuit was asked for.
	Takes []capture.Take
	// LeftOut are takes that the result is made without, with the reason.
	LeftOut []string
	// Partials are unfinished recordings, which are not used.
	Partials []string
	// AsLast are options that were taken from the last fit; nil: none were.
	AsLast *fit.OptionsRecord

	noParts error // why the parts at hand are not known; nil: they are
	held    capture.Fingerprint
	audio   map[string]capture.AudioStamp // by take, before it was read
	inputs  map[string]joint.Take         // by the checksum of take.toml
	fitted  *joint.Fitted
}

// NoTakeError says that a coil folder holds no take.
type NoTakeError struct{ Dir string }

func (e *NoTakeError) Error() string { return e.Dir + " has no take" }

// Coil evaluates the coil folder dir. Takes that are not usable are left out.
// Responses and minima in the fit.cache of the last fit are used again while its
// result is up to date, unless o.Anew; those that Doubted has kept since, for a result
// that is missing or out of date. Coil writes nothing: Save does. The error
// is a *NoTakeError, a *capture.UnfitError where no take is usable, or says what
// cannot be read.
func Coil(ctx context.Context, dir string, o Options) (_ *Evaluation, err error) {
	defer fault.Catch(&err, "the analysis of "+dir+" broke off")
	folder, err := capture.OpenFolder(dir)
	if err != nil {
		return nil, err
	}
	// Before the takes are read: what changes meanwhile shows as out of date later.
	held, err := folder.Fingerprint()
	if err != nil {
		return nil, err
	}
	e := &Evaluation{Folder: folder, held: held}
	o.Fit.AtHand, e.noParts = partsfile.Find(dir)
	last, _ := Load(dir) // one that cannot be read is as good as none
	if o.AsLast {
		e.takeOptions(last, &o.Fit)
	}
	if e.Partials, err = folder.Partials(); err != nil {
		return nil, err
	}
	if len(held.Takes) == 0 {
		return nil, &NoTakeError{dir}
	}
	if last != nil && !o.Anew && !o.Circuit && answers(last, held, o.Fit) &&
		(!o.Curves || readCache(dir, keyOf(held, o.Fit.Record())).curves(folder, last)) {
		e.Result = last
		e.LeftOut = leftOut(last)
		return e, nil
	}
	if o.Before.is(held, o.Fit) && !o.Anew {
		return o.Before, nil
	}
	var known *cache
	if key := keyOf(held, o.Fit.Record()); last == nil || len(last.Stale(held)) > 0 {
		known, last = readAhead(dir, key), nil
	} else if !o.Anew && sameSearch(last.Record.Options, o.Fit.Record()) {
		known = readCache(dir, key)
	}
	if err := e.make(ctx, o, known, last); err != nil {
		return nil, err
	}
	return e, nil
}

// takeOptions takes the models and the shared gain from the last result.
func (e *Evaluation) takeOptions(last *fit.Result, o *fit.Options) {
	if last == nil || last.Record == nil {
		return
	}
	options, err := last.Record.Options.Options()
	if err != nil {
		return // models of another program
	}
	o.Forms, o.SharedGain = options.Forms, options.SharedGain
	if len(o.Forms) > 0 || o.SharedGain {
		e.AsLast = new(o.Record())
	}
}

// answers tells whether a result that lies in a folder is up to date, and what a
// fit with options would say.
func answers(r *fit.Result, held capture.Fingerprint, o fit.Options) bool {
	if len(r.Stale(held)) > 0 {
		return false
	}
	had, want := r.Record.Options, o.Record()
	return sameSearch(had, want) &&
		(!want.Advise || had.Advise && slices.Equal(had.AtHand, want.AtHand)) &&
		(want.MonteCarlo == 0 || had.MonteCarlo == want.MonteCarlo && had.Seed == want.Seed)
}

// sameSearch tells whether fits with both options find the same circuits.
func sameSearch(a, b fit.OptionsRecord) bool {
	return slices.Equal(a.Models, b.Models) && a.SharedGain == b.SharedGain
}

// is tells whether e is the evaluation of what a folder holds with options.
func (e *Evaluation) is(held capture.Fingerprint, o fit.Options) bool {
	return e != nil && e.fitted != nil && held.Equal(e.held) && e.Result.Record.Options.Equal(o.Record())
}

// make estimates and fits, but for what is known; last, if not nil, is the result beside
// that.
func (e *Evaluation) make(ctx context.Context, o Options, known *cache, last *fit.Result) error {
	unreadable := e.readTakes(o.Before)
	inputs, err := e.estimate(ctx, o.Before, known)
	if err != nil {
		return err
	}
	for _, u := range unreadable {
		inputs = append(inputs, unusable(joint.Take{Name: u.Name}, u.Err))
	}
	found := contradictions(inputs)
	for _, in := range inputs {
		if in.Unfit != "" {
			e.LeftOut = append(e.LeftOut, fmt.Sprintf("take %q: %s", in.Name, in.Unfit))
		}
	}
	if known != nil {
		// Not where a take is usable now and was not, or the other way about.
		e.fitted, _ = joint.Restore(e.Folder.Coil, inputs, known.Snapshot, o.Fit)
	}
	if e.fitted == nil {
		last = nil
		e.fitted, err = search(ctx, e.Folder.Coil, inputs, o.Fit)
	}
	if errors.Is(err, joint.ErrNoTakes) {
		return &capture.UnfitError{What: fmt.Sprintf("no take of %s is usable: %s", e.Folder.Dir,
			strings.Join(e.LeftOut, "; "))}
	} else if err != nil {
		return err
	}
	if e.Result, err = e.fitted.Result(ctx); err != nil {
		return err
	}
	for _, f := range slices.Backward(found) {
		e.Result.Warnings = slices.Insert(e.Result.Warnings, 0, f.Text)
	}
	if e.noParts != nil {
		e.Result.Warnings = append(e.Result.Warnings, fmt.Sprintf("advice is without the parts at hand: %v", e.noParts))
	}
	e.Result.About = fit.NewAbout(e.Folder.Coil, e.Result.UsedTakes(e.Takes))
	e.Result.Warnings = append(e.Result.Warnings, e.Result.Lapses()...)
	e.Result.Record = fit.NewRecord(e.held, e.Takes, o.Fit)
	return e.singly(ctx, inputs, o.Fit, last)
}

// search is joint.Fit; tests count it.
var search = joint.Fit

// Fitted is the fitted circuit; nil unless it was asked for.
func (e *Evaluation) Fitted() *joint.Fitted { return e.fitted }

// Input is the fit's input from the take called name; false where it was not
// estimated.
func (e *Evaluation) Input(name string) (joint.Take, bool) {
	in, ok := e.inputs[e.checksumOf(name)]
	return in, ok && in.Name == name
}

// Measured is a coil with its result and when it was measured.
type Measured struct {
	comparison.Coil
	Measured time.Time     // of the latest take
	Fitted   *joint.Fitted // nil where the circuit was not asked for
}

// Measured is the coil for comparisons.
func (e *Evaluation) Measured() Measured {
	coil := e.Folder.Coil
	m := Measured{Coil: comparison.Coil{Name: coil.Title(), Of: coil.Name, State: coil.State, Folder: e.Folder.Dir,
		Result: e.Result}, Fitted: e.fitted}
	for _, t := range e.Result.Record.Takes {
		if t.Started != nil && t.Started.After(m.Measured) {
			m.Measured = *t.Started
		}
	}
	return m
}

// leftOut names the takes that a result was made without.
func leftOut(r *fit.Result) []string {
	var names []string
	for _, t := range r.Record.Takes {
		if !slices.ContainsFunc(r.Takes, func(u fit.TakeResult) bool { return u.Name == t.Name && u.Used }) {
			names = append(names, fmt.Sprintf("take %q", t.Name))
		}
	}
	return names
}
