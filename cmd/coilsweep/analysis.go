package main

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"strings"
	"sync"

	"github.com/spf13/cobra"

	"coilsweep/capture"
	"coilsweep/fit"
	"coilsweep/fit/response"
)

// analysis is a coil folder with its takes and what the fit makes of them.
type analysis struct {
	folder *capture.Folder
	takes  []capture.Take
	fitted *fit.Fitted
	result *fit.Result
	unfit  []string // takes that were left out, with the reason
}

// analyseFolder estimates the response of every take in dir and fits them
// together. Takes that are unfit are left out and named in unfit.
func analyseFolder(ctx context.Context, c *console, dir string, options fit.Options) (*analysis, error) {
	folder, err := capture.OpenFolder(dir)
	if err != nil {
		return nil, err
	}
	// Before the takes are read: what changes meanwhile shows as stale later.
	held, err := folder.Fingerprint()
	if err != nil {
		return nil, err
	}
	takes, unreadable, err := folder.Takes()
	if err != nil {
		return nil, err
	}
	a := &analysis{folder: folder, takes: takes}
	for _, err := range unreadable {
		c.warn("%v", err)
		a.unfit = append(a.unfit, err.Error())
	}
	if partials, err := folder.Partials(); err == nil {
		for _, p := range partials {
			c.warn("%s is an unfinished recording and not used; 'coilsweep import' can read its audio", p)
		}
	}
	if len(takes) == 0 {
		return nil, fmt.Errorf("%s has no take: record one with 'coilsweep measure' or read one with 'coilsweep import'", dir)
	}
	inputs, err := estimateTakes(ctx, folder, takes)
	if err != nil {
		return nil, err
	}
	for _, in := range inputs {
		if in.Unfit != "" {
			a.unfit = append(a.unfit, fmt.Sprintf("take %q: %s", in.Name, in.Unfit))
		}
	}
	options.Program = programName()
	a.fitted, err = fit.FitCoil(ctx, folder.Coil, inputs, options)
	if errors.Is(err, fit.ErrNoTakes) {
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

// estimateTakes estimates the responses of takes on all cores.
func estimateTakes(ctx context.Context, folder *capture.Folder, takes []capture.Take) ([]fit.Take, error) {
	inputs := make([]fit.Take, len(takes))
	failed := make([]error, len(takes))
	var wait sync.WaitGroup
	for i := range takes {
		wait.Add(1)
		takeSlots <- struct{}{}
		go func() {
			defer func() { <-takeSlots; wait.Done() }()
			inputs[i], failed[i] = estimateTake(ctx, folder, takes[i])
		}()
	}
	wait.Wait()
	return inputs, errors.Join(failed...)
}

func estimateTake(ctx context.Context, folder *capture.Folder, t capture.Take) (fit.Take, error) {
	in := fit.Take{
		Name: t.Name, Load: t.Load, AudioSHA256: t.Audio.SHA256,
		Referenced: referenced(t),
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
		return in, nil
	}
	recording, err := folder.Audio(t)
	if err != nil {
		return in, err
	}
	in.Response, err = response.Estimate(ctx, recording, t)
	if ctx.Err() != nil {
		return in, ctx.Err()
	}
	if err != nil {
		in.Unfit = err.Error()
	}
	return in, nil
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

func formNames() []string {
	var names []string
	for _, f := range fit.Ladder() {
		names = append(names, f.Name())
	}
	return names
}
