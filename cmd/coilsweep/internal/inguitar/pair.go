package inguitar

import (
	"cmp"
	"context"
	"errors"
	"path/filepath"
	"strings"

	"coilsweep/capture"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/excite/quantity"
	"coilsweep/fit/harness"
	"coilsweep/fit/pair"
)

// Pair are the options of a pair: to start its folder, and the guitar that it is in.
type Pair struct {
	workbench.Options
	name      string
	halves    [2]capture.Coil
	dcr       [2]*quantity.Resistance
	resistor  *quantity.Resistance
	capacitor *quantity.Capacitance
	guitar    *Guitar
}

// NewPair has the defaults.
func NewPair() *Pair {
	o := &Pair{guitar: NewGuitar(false)}
	const begin = "A new pair"
	o.Options = append(workbench.Options{
		{Name: "name", Group: begin, Value: workbench.Text(&o.name), Help: "the pair's name (default: that of the folder)"},
		{Name: "first", Group: begin, Value: workbench.Text(&o.halves[0].Name), Default: "first coil",
			Help: "name of its first coil"},
		{Name: "second", Group: begin, Value: workbench.Text(&o.halves[1].Name), Default: "second coil",
			Help: "name of its second coil"},
		{Name: "first-dcr", Group: begin, Value: workbench.Resistance(&o.dcr[0]), Help: `DC resistance of the first, "4.1k@22C 0.5%"`},
		{Name: "second-dcr", Group: begin, Value: workbench.Resistance(&o.dcr[1]), Help: "that of the second"},
		{Name: "partial-r", Group: groupGuitar, Page: true, Value: workbench.Resistance(&o.resistor),
			Help: "partial split: resistor from the coils' junction to ground"},
		{Name: "partial-c", Group: groupGuitar, Page: true, Value: workbench.Capacitance(&o.capacitor),
			Help: "partial split: capacitor there"},
	}, o.guitar.ofOneCoil()...)
	return o
}

// Create starts the folder of a pair.
func (o *Pair) Create(dir string) error {
	abs, err := filepath.Abs(dir)
	if err != nil {
		return err
	}
	for i := range o.halves {
		o.halves[i].DCR = o.dcr[i]
		o.halves[i].Name = cmp.Or(strings.TrimSpace(o.halves[i].Name), []string{"first coil", "second coil"}[i])
	}
	return pair.Create(dir, cmp.Or(strings.TrimSpace(o.name), filepath.Base(abs)), o.halves)
}

// Plan is the guitar, and the part of a partial split; nil: none.
func (o *Pair) Plan() (h harness.Harness, partial *pair.Partial, err error) {
	switch {
	case o.resistor != nil && o.capacitor != nil:
		return h, nil, workbench.Wrong("partial-r", "{partial-r} and {partial-c} contradict each other")
	case o.resistor != nil:
		partial = &pair.Partial{Value: o.resistor.Value}
	case o.capacitor != nil:
		partial = &pair.Partial{Value: o.capacitor.Value}
	}
	h, _, err = o.guitar.Plan(1)
	return h, partial, err
}

// Run fits the pair of the folder dir and predicts its connections in the guitar, where its
// balance is known. unfit tells of takes that were left out.
func (o *Pair) Run(ctx context.Context, dir string) (r *pair.Result, unfit, err error) {
	h, partial, err := o.Plan()
	if err != nil {
		return nil, nil, err
	}
	request, leftOut, err := pair.Load(ctx, dir)
	if err != nil {
		return nil, nil, err
	}
	if len(leftOut) > 0 {
		unfit = &capture.UnfitError{What: "not used: " + strings.Join(leftOut, "; ")}
	}
	if r, err = pair.Fit(ctx, request); err != nil {
		return nil, unfit, err
	}
	if r.Contradicted() {
		unfit = errors.Join(unfit, &capture.UnfitError{What: "the takes contradict what pair.toml states of them"})
	}
	if err := r.InGuitar(h, partial); errors.Is(err, pair.ErrNotBalanced) {
		r.Warnings = append(r.Warnings, err.Error())
	} else if err != nil {
		return nil, unfit, err
	}
	return r, unfit, nil
}
