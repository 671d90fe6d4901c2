// Package batch is the statistics of a production run of coils: mean and spread,
// how much of the spread comes from the coils and how much from the measurement,
// which coils stand out and why, whether they keep to limits, and whether the
// production drifts.
//
// The same coil measured again is told by its name: folders whose coil has the
// same name hold the same coil, and so do takes with equal load in one folder. A coil
// in another state is no repeat of it: a batch is of one state.
package batch

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"coilsweep/fit"
	"coilsweep/fit/comparison"
)

// Specimen is one measurement of one coil: a coil folder.
type Specimen struct {
	comparison.Coil
	Measured time.Time // of the latest take; zero: not known
}

// Options of an analysis.
type Options struct {
	// Limits by property key; nil: none are judged.
	Limits map[string]Limits
	// Guard is the guard band in units of U95; 1 is usual.
	Guard float64
	// Around is the coil around which the limits are set; nil: they are of no coil. It
	// passes itself.
	Around *comparison.Coil
	// SameBench: the parts that all coils name alike were the same pieces.
	SameBench bool
	// State is that of the coils to be judged; empty: as first measured, or the one state
	// in which all of them are.
	State string
	// ByFolder takes every folder for a coil of its own, whatever its name.
	ByFolder bool
}

// Batch is a production run.
type Batch struct {
	Specimens  []Specimen // in the order of time
	Coils      []Coil     // in the order of their first measurement
	Properties []Property
	Guard      float64
	Judged     bool // there are limits
	State      string
	// Unjudged are quantities that limits were stated for and that no coil has: none passes.
	Unjudged []comparison.Property
	// Others are the states of measurements that are left out.
	Others []string
}

// Coil is one coil of the batch, measured once or more.
type Coil struct {
	Name      string
	Specimens []int // indices into Batch.Specimens
	Verdict   Verdict
	Suspicion Suspicion
}

// Property is the statistics of one quantity in the batch.
type Property struct {
	comparison.Property
	// Values by coil: the mean of a coil's measurements, with the uncertainty
	// of one of them, since their errors are largely the same.
	Values []fit.Quantity
	Known  int // coils with a value
	// Mean and SD over coils, each counted once; NaN where too few are known.
	Mean, SD float64
	// Median and RobustSD (Q_n) are not spoiled by a few bad coils.
	Median, RobustSD float64
	// MeasurementU is the rms standard uncertainty of the values.
	MeasurementU float64
	Anova        *Anova // nil: no coil was measured twice
	Chart        *Chart // nil: too few coils
	Charted      []int  // the coil behind each value of Chart
	Limits       *Limits
	Judgements   []Judgement // by coil; nil without limits
	// Scores are the distances from the median in robust standard deviations
	// widened by the value's own uncertainty, by coil; NaN where unknown, nil
	// where the coils are too few.
	Scores []float64
}

// Outlying tells whether coil i stands out in this property.
func (p Property) Outlying(i int) bool {
	return p.Scores != nil && math.Abs(p.Scores[i]) > outlyingScore
}

// ErrTooFew: a batch has at least two coils.
var ErrTooFew = errors.New("at least two coils make a batch")

// Analyse works out the statistics of a run. The error is ErrTooFew, or says
// that nothing is known of the coils.
func Analyse(specimens []Specimen, options Options) (*Batch, error) {
	b := &Batch{Guard: options.Guard, Judged: options.Limits != nil, State: options.State}
	if err := b.choose(specimens); err != nil {
		return nil, err
	}
	slices.SortStableFunc(b.Specimens, func(x, y Specimen) int { return x.Measured.Compare(y.Measured) })
	b.group(options.ByFolder)
	if len(b.Coils) < 2 {
		return nil, ErrTooFew
	}
	var coils []comparison.Coil
	for _, s := range b.Specimens {
		coils = append(coils, s.Coil)
	}
	for _, p := range comparison.Properties(coils) {
		one := b.property(p, options.SameBench)
		if one.Known == 0 {
			continue
		}
		if l, ok := options.Limits[p.Key]; ok {
			one.Limits = &l
			for i, q := range one.Values {
				var measured []comparison.Coil
				for _, n := range b.Coils[i].Specimens {
					measured = append(measured, b.Specimens[n].Coil)
				}
				one.Judgements = append(one.Judgements, options.judge(p, q, measured))
			}
		}
		b.Properties = append(b.Properties, one)
	}
	if b.Properties == nil {
		return nil, errors.New("none of these coils has a known value")
	}
	b.Unjudged = options.unjudged(func(key string) bool {
		return slices.ContainsFunc(b.Properties, func(p Property) bool { return p.Key == key })
	})
	for i := range b.Coils {
		b.Coils[i].Verdict = b.verdict(i)
		b.Coils[i].Suspicion = b.suspect(i)
	}
	return b, nil
}

// choose takes the measurements of one state.
func (b *Batch) choose(specimens []Specimen) error {
	var states []string
	for _, s := range specimens {
		if !slices.Contains(states, s.State) {
			states = append(states, s.State)
		}
	}
	if b.State == "" && len(states) == 1 {
		b.State = states[0]
	}
	if b.State != "" && !slices.Contains(states, b.State) {
		return fmt.Errorf("none of these coils is in the state %q", b.State)
	}
	for _, s := range specimens {
		switch {
		case s.State == b.State:
			b.Specimens = append(b.Specimens, s)
		case !slices.Contains(b.Others, s.State):
			b.Others = append(b.Others, s.State)
		}
	}
	return nil
}

// group finds the measurements of the same coil.
func (b *Batch) group(byFolder bool) {
	at := map[string]int{}
	for i, s := range b.Specimens {
		name := strings.TrimSpace(s.Name)
		identity := name
		if byFolder {
			identity, name = s.Folder, name+" ("+s.Folder+")"
		}
		n, seen := at[identity]
		if !seen {
			n = len(b.Coils)
			at[identity] = n
			b.Coils = append(b.Coils, Coil{Name: name})
		}
		b.Coils[n].Specimens = append(b.Coils[n].Specimens, i)
	}
}

func (b *Batch) property(p comparison.Property, sameBench bool) Property {
	out := Property{Property: p}
	var values, u2 []float64
	all := make([]comparison.Coil, len(b.Specimens))
	for i, s := range b.Specimens {
		all[i] = s.Coil
	}
	own := make([]float64, len(b.Coils)) // what tells a coil from the others
	groups := make([][]float64, len(b.Coils))
	for i, coil := range b.Coils {
		q := fit.Unknown("not measured")
		var measured []float64
		for _, s := range coil.Specimens {
			r := b.Specimens[s].Result
			if one := p.Of(r); one.Known() {
				measured = append(measured, one.Value)
				if !q.Known() {
					q, own[i] = one, one.U
					if sameBench {
						own[i] = comparison.OwnU(p, b.Specimens[s].Coil, all)
					}
				}
			} else if len(measured) == 0 {
				q = one
			}
			groups[i] = append(groups[i], p.Repeated(r)...)
		}
		if len(measured) > 1 {
			// One interval about the mean: the sides of single ones do not hold.
			q = fit.Quantity{Value: mean(measured), U: q.U, U95: q.U95}
		}
		out.Values = append(out.Values, q)
		if q.Known() {
			values, u2 = append(values, q.Value), append(u2, q.U*q.U)
			out.Charted = append(out.Charted, i)
		}
	}
	out.Known = len(values)
	out.Mean, out.SD, out.Median, out.RobustSD, out.MeasurementU = math.NaN(), deviation(values), Median(values),
		Qn(values), math.NaN()
	if len(values) > 0 {
		out.Mean, out.MeasurementU = mean(values), math.Sqrt(mean(u2))
	}
	if a, err := AnovaOf(groups); err == nil {
		out.Anova = &a
	}
	out.Chart = ChartOf(values)
	if len(values) >= leastForOutliers {
		for i, q := range out.Values {
			score := math.NaN()
			if q.Known() {
				score = (q.Value - out.Median) / math.Hypot(out.RobustSD, own[i])
			}
			out.Scores = append(out.Scores, score)
		}
	}
	return out
}

// verdict is that of all limits together.
func (b *Batch) verdict(coil int) Verdict {
	var verdict Verdict
	if b.Unjudged != nil {
		verdict = Unknown
	}
	for _, p := range b.Properties {
		if p.Judgements != nil {
			verdict = worse(verdict, p.Judgements[coil].Verdict)
		}
	}
	return cmp.Or(verdict, Unknown)
}

// Count is how many coils have a verdict.
func (b *Batch) Count(v Verdict) int { return b.count(func(c Coil) bool { return c.Verdict == v }) }

// Repeats is how many coils were measured more than once, in folders of their
// own.
func (b *Batch) Repeats() int { return b.count(func(c Coil) bool { return len(c.Specimens) > 1 }) }

func (b *Batch) count(has func(Coil) bool) int {
	n := 0
	for _, c := range b.Coils {
		if has(c) {
			n++
		}
	}
	return n
}
