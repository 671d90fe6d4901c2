package main

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"sync"

	"github.com/spf13/cobra"

	"coilsweep/capture"
	"coilsweep/fit"
	"coilsweep/fit/joint"
	"coilsweep/fit/response"
)

// analysis is a coil folder with its takes and what the fit makes of them.
type analysis struct {
	folder *capture.Folder
	takes  []capture.Take
	fitted *joint.Fitted
	result *fit.Result
	unfit  []string // takes that were left out, with the reason
	// held is what the folder held, inputs what was made of its takes, by the
	// checksums of their take.toml: the next analysis need not make it again.
	held   capture.Fingerprint
	inputs map[string]joint.Take
}

// analyseFolder estimates the response of every take in dir and fits them
// together. Takes that are unfit are left out and named in unfit.
func analyseFolder(ctx context.Context, c *console, dir string, options fit.Options) (*analysis, error) {
	return analyseAfter(ctx, c, dir, options, nil)
}

// analyseAfter is analyseFolder after an earlier analysis of the folder, from
// which it takes what has not changed; nil: there was none.
func analyseAfter(ctx context.Context, c *console, dir string, options fit.Options, before *analysis) (*analysis, error) {
	folder, err := capture.OpenFolder(dir)
	if folder != nil {
		folder.Program = programName()
	}
	if err != nil {
		return nil, err
	}
	// Before the takes are read: what changes meanwhile shows as stale later.
	held, err := folder.Fingerprint()
	if err != nil {
		return nil, err
	}
	takes, unreadable, err := before.readTakes(folder, held)
	if err != nil {
		return nil, err
	}
	a := &analysis{folder: folder, takes: takes, held: held}
	if partials, err := folder.Partials(); err == nil {
		for _, p := range partials {
			c.warn("%s is an unfinished recording and not used; 'coilsweep import' can read its audio", p)
		}
	}
	if len(takes)+len(unreadable) == 0 {
		return nil, fmt.Errorf("%s has no take: record one with 'coilsweep measure' or read one with 'coilsweep import'", dir)
	}
	inputs, err := a.estimate(ctx, before)
	if err != nil {
		return nil, err
	}
	for _, u := range unreadable {
		inputs = append(inputs, leftOutTake(joint.Take{Name: u.Name}, u.Err))
	}
	for _, in := range inputs {
		if in.Unfit != "" {
			a.unfit = append(a.unfit, fmt.Sprintf("take %q: %s", in.Name, in.Unfit))
		}
	}
	options.Program = programName()
	a.fitted, err = joint.Fit(ctx, folder.Coil, inputs, options)
	if errors.Is(err, joint.ErrNoTakes) {
		return nil, unfitError{fmt.Errorf("no take of %s is fit for use: %s", dir, strings.Join(a.unfit, "; "))}
	}
	if err != nil {
		return nil, err
	}
	if a.result, err = a.fitted.Result(ctx); err != nil {
		return nil, err
	}
	a.result.Record = fit.NewRecord(held, takes, options)
	return a, nil
}

// unfitness is the error of a command that did its work without some takes;
// nil where all were used.
func (a *analysis) unfitness() error {
	if len(a.unfit) == 0 {
		return nil
	}
	return unfitError{fmt.Errorf("left out: %s", strings.Join(a.unfit, "; "))}
}

// takeSlots bounds how many takes are in memory and worked on at a time,
// however many coils are analysed side by side.
var takeSlots = make(chan struct{}, runtime.GOMAXPROCS(0))

// flagUnreadable is that of a take whose files cannot be used.
const flagUnreadable = "unreadable"

// leftOutTake is a take that cannot be used since its files are not what they
// should be.
func leftOutTake(in joint.Take, err error) joint.Take {
	in.Flags, in.Unfit = append(in.Flags, flagUnreadable), err.Error()
	return in
}

// readTakes is folder.Takes, for takes that are still what a knew already
// without reading them.
func (a *analysis) readTakes(folder *capture.Folder, held capture.Fingerprint) (takes []capture.Take, unreadable []capture.UnreadableTake, err error) {
	if a == nil {
		return folder.Takes()
	}
	read := map[capture.TakeFingerprint]capture.Take{}
	for _, t := range a.takes {
		read[capture.TakeFingerprint{Name: t.Name, SHA256: a.checksumOf(t.Name)}] = t
	}
	for _, h := range held.Takes {
		if t, ok := read[h]; ok {
			takes = append(takes, t)
		} else if t, err := folder.ReadTake(h.Name); err != nil {
			unreadable = append(unreadable, capture.UnreadableTake{Name: h.Name, Err: err})
		} else {
			takes = append(takes, t)
		}
	}
	slices.SortStableFunc(takes, func(a, b capture.Take) int { return a.Started.Compare(b.Started) })
	return takes, unreadable, nil
}

// checksumOf is that of the take.toml of a take.
func (a *analysis) checksumOf(take string) string {
	for _, h := range a.held.Takes {
		if h.Name == take {
			return h.SHA256
		}
	}
	return ""
}

// estimate estimates the responses of all takes, on all cores, but for those
// that an earlier analysis holds. A take that cannot be read is unfit; the
// error is that of ctx.
func (a *analysis) estimate(ctx context.Context, before *analysis) ([]joint.Take, error) {
	inputs := make([]joint.Take, len(a.takes))
	var wait sync.WaitGroup
	for i, t := range a.takes {
		if before != nil {
			if in, ok := before.inputs[a.checksumOf(t.Name)]; ok && in.Name == t.Name {
				inputs[i] = in
				continue
			}
		}
		wait.Add(1)
		takeSlots <- struct{}{}
		go func() {
			defer func() { <-takeSlots; wait.Done() }()
			inputs[i] = estimateTake(ctx, a.folder, t)
		}()
	}
	wait.Wait()
	a.inputs = map[string]joint.Take{}
	for _, in := range inputs {
		if in.Response != nil { // what failed may succeed next time
			a.inputs[a.checksumOf(in.Name)] = in
		}
	}
	return inputs, ctx.Err()
}

func estimateTake(ctx context.Context, folder *capture.Folder, t capture.Take) joint.Take {
	in := joint.Take{
		Name: t.Name, Load: t.Load, AudioSHA256: t.Audio.SHA256,
		Referenced: referenced(t), DriftPPM: t.Quality.DriftPPM,
		DriveFall: t.Drive.Fall, Linearity: t.Linearity,
	}
	for _, f := range t.Quality.Flags {
		in.Flags = append(in.Flags, string(f))
	}
	if flags := t.Unfit(); flags != nil {
		var words []string
		for _, f := range flags {
			words = append(words, string(f))
		}
		in.Unfit = strings.Join(words, ", ")
		return in
	}
	if ctx.Err() != nil {
		return in
	}
	recording, err := folder.Audio(t)
	if err != nil {
		return leftOutTake(in, err)
	}
	if in.Response, err = response.Estimate(ctx, recording, t); err != nil {
		in.Unfit = err.Error()
	}
	return in
}

// fitFlags are the options that change what the fit makes of the takes.
type fitFlags struct {
	models     []string
	sharedGain bool
}

func (f *fitFlags) add(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringArrayVar(&f.models, "model", nil, "fit this circuit only (may be repeated): "+strings.Join(formNames(), ", "))
	flags.BoolVar(&f.sharedGain, "shared-gain", false, "the exciter was not moved between takes: one gain for all")
}

func (f *fitFlags) options() (fit.Options, error) {
	options := fit.Options{SharedGain: f.sharedGain}
	for _, name := range f.models {
		form, ok := fit.FormNamed(name)
		if !ok {
			return options, usagef("--model %q: want one of %s", name, strings.Join(formNames(), ", "))
		}
		options.Forms = append(options.Forms, form)
	}
	return options, nil
}

// orLast are options, or where none were given on the command line those of the
// last fit of the coil in dir, so that nothing contradicts its result.json.
func (f *fitFlags) orLast(cmd *cobra.Command, c *console, dir string, options fit.Options) fit.Options {
	if cmd.Flags().Changed("model") || cmd.Flags().Changed("shared-gain") {
		return options
	}
	last := lastOptions(dir)
	options.Forms, options.SharedGain = last.Forms, last.SharedGain
	var said []string
	for _, form := range last.Forms {
		said = append(said, fmt.Sprintf("--model %q", form.Name()))
	}
	if last.SharedGain {
		said = append(said, "--shared-gain")
	}
	if said != nil {
		c.warn("%s is analysed as at its last fit, with %s; to change that, fit it again", dir, strings.Join(said, " "))
	}
	return options
}

// lastOptions are those of the last fit of the coil in dir; none where it was
// not fitted, or its result cannot be read.
func lastOptions(dir string) fit.Options {
	last, err := loadResult(dir)
	if err != nil || last == nil || last.Record == nil {
		return fit.Options{}
	}
	options, err := last.Record.Options.Options()
	if err != nil {
		return fit.Options{}
	}
	return options
}

func formNames() []string {
	var names []string
	for _, f := range fit.Ladder() {
		names = append(names, f.Name())
	}
	return names
}
