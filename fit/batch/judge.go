package batch

import (
	"cmp"
	"maps"
	"slices"

	"coilsweep/fit"
	"coilsweep/fit/comparison"
)

// Judged is a quantity of a coil against its limits.
type Judged struct {
	comparison.Property
	Value  fit.Quantity
	Limits Limits
	Judgement
}

// JudgeCoil judges one coil by itself. The quantities are in the order of a batch; those
// that were to be judged and are not known of the coil come last.
func JudgeCoil(coil comparison.Coil, o Options) (Verdict, []Judged) {
	var verdict Verdict
	var all []Judged
	for _, p := range comparison.Properties([]comparison.Coil{coil}) {
		if l, ok := o.Limits[p.Key]; ok {
			q := p.Of(coil.Result)
			all = append(all, Judged{p, q, l, o.judge(p, q, []comparison.Coil{coil})})
		}
	}
	for _, p := range o.unjudged(func(key string) bool {
		return slices.ContainsFunc(all, func(j Judged) bool { return j.Key == key })
	}) {
		q := fit.Unknown("not measured")
		if p.Of != nil {
			q = p.Of(coil.Result)
		}
		all = append(all, Judged{p, q, o.Limits[p.Key], o.Limits[p.Key].Judge(fit.Unknown(q.Why), o.Guard)})
	}
	for _, j := range all {
		verdict = worse(verdict, j.Verdict)
	}
	return cmp.Or(verdict, Unknown), all
}

// judge judges a quantity of a coil that was measured once or more.
func (o Options) judge(p comparison.Property, q fit.Quantity, measured []comparison.Coil) Judgement {
	l := o.Limits[p.Key]
	if o.Around == nil || !q.Known() {
		return l.Judge(q, o.Guard)
	}
	if only := measured[0]; len(measured) == 1 && only.Folder == o.Around.Folder && only.State == o.Around.State {
		return l.judge(q, 0, o.Guard) // it is no distance from itself
	}
	for _, m := range measured {
		if d := comparison.Between(p, m, *o.Around, o.SameBench); d.Delta.Known() {
			return l.judge(q, d.Delta.U, o.Guard)
		}
	}
	return l.Judge(q, o.Guard)
}

// unjudged are the quantities for which limits were stated by name, without those that
// are judged.
func (o Options) unjudged(judged func(key string) bool) (missing []comparison.Property) {
	for _, key := range slices.Sorted(maps.Keys(o.Limits)) {
		if p, ok := comparison.PropertyNamed(key); ok && o.Limits[key].Named && !judged(key) {
			missing = append(missing, p)
		}
	}
	return missing
}
