package workbench

import (
	"fmt"
	"slices"
	"strings"

	"coilsweep/fit"
	"coilsweep/report/notation"
)

const groupFit = "The fit"

// Fit are the options that change what the fit makes of the takes.
type Fit struct {
	Options
	Models     []string
	SharedGain bool
	MonteCarlo int
	Seed       uint64
}

// NewFit has the defaults. trials: Monte Carlo trials may be asked for.
func NewFit(trials bool) *Fit {
	f := &Fit{Seed: 1}
	f.Options = Options{
		{Name: "model", Group: groupFit, Page: true, Value: TextList(&f.Models),
			Help: "fit this model only (may be repeated): " + strings.Join(formNames(), ", ")},
		{Name: "shared-gain", Group: groupFit, Page: true, Value: Switch(&f.SharedGain), Bare: "true",
			Help: "the exciter was not moved between takes: one gain for all"},
	}
	if trials {
		f.Options = append(f.Options,
			&Option{Name: "montecarlo", Group: groupFit, Page: true, Value: Whole(&f.MonteCarlo), Default: "none",
				Help: "repeat the fit this many times with noise and parts drawn anew (JCGM 101)"},
			&Option{Name: "seed", Group: groupFit, Value: Counting(&f.Seed),
				Help: "sequence of the trials: the same number gives the same trials"},
		)
	}
	return f
}

func formNames() []string {
	return notation.Each(fit.Ladder(), fit.Form.Name)
}

// Analysis are the options of the analysis; nil where none were given: those of
// the coil's last fit hold then.
func (f *Fit) Analysis() (*fit.Options, error) {
	options := fit.Options{SharedGain: f.SharedGain}
	for _, name := range f.Models {
		form, ok := fit.FormNamed(name)
		if !ok {
			return nil, &OptionError{Option: "model", Given: fmt.Sprintf("%q", name),
				Err: fmt.Errorf("want one of %s", strings.Join(formNames(), ", "))}
		}
		options.Forms = append(options.Forms, form)
	}
	switch {
	case f.MonteCarlo < 0 || f.MonteCarlo == 1:
		return nil, WrongValue("montecarlo", f.MonteCarlo, "want at least 2 trials, better 1000")
	case f.Given("seed") && f.MonteCarlo == 0:
		return nil, Wrong("seed", "{seed} is for the trials of {montecarlo}")
	}
	options.MonteCarlo, options.Seed = f.MonteCarlo, f.Seed
	if !f.Given("model", "shared-gain", "montecarlo", "seed") {
		return nil, nil
	}
	return &options, nil
}

// Said are the options as they would be given, to say that they were taken from
// the last fit.
func Said(o fit.OptionsRecord) []string {
	said := notation.Each(o.Models, func(model string) string { return fmt.Sprintf("{model} %q", model) })
	if o.SharedGain {
		said = append(said, "{shared-gain}")
	}
	return slices.Clip(said)
}
