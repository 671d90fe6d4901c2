package pair

import (
	"context"
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
)

// Fit finds the pair that explains the takes. The errors are ErrTooLittle, takes that have
// too little in common, and those of ctx.
func Fit(ctx context.Context, q Request) (*Result, error) {
	if err := q.check(); err != nil {
		return nil, err
	}
	f, err := search(ctx, q)
	if err != nil {
		return nil, err
	}
	return f.result(), nil
}

// carried are quantities of x and known parts with what is known of them.
func (f *fitted) carried(sought []fit.Sought, of func(x, dst []float64)) []fit.Quantity {
	value, variances := f.spreadOf(len(sought), f.circuitColumns(), of)
	out := make([]fit.Quantity, len(sought))
	for k, s := range sought {
		out[k] = variances[k].Judge(value[k], s, s.Missing)
	}
	return out
}

// circuitColumns are the columns of the pair's circuit, and of the places.
func (f *fitted) circuitColumns() (columns []int) {
	for c := range f.coil[1] + 3 + 2*f.loops {
		columns = append(columns, c)
	}
	for c := f.place; c < f.take; c++ {
		columns = append(columns, c)
	}
	return columns
}

// spreadOf is count quantities that follow from those columns of x, linearly (JCGM
// 100:2008, 5.2).
func (f *fitted) spreadOf(count int, columns []int, of func(x, dst []float64)) (value []float64,
	variances []fit.Variances) {
	value = make([]float64, count)
	of(f.x, value)
	gradient := mat.NewDense(count, f.n, nil)
	up, down, moved := make([]float64, count), make([]float64, count), slices.Clone(f.x)
	for _, c := range columns {
		h := 1e-3 * min(1, math.Sqrt(f.covariance.At(c, c))+1e-4)
		moved[c] = f.x[c] + h
		of(moved, up)
		moved[c] = f.x[c] - h
		of(moved, down)
		moved[c] = f.x[c]
		for k := range count {
			gradient.Set(k, c, (up[k]-down[k])/(2*h))
		}
	}
	var known mat.Dense
	known.Mul(gradient, f.covariance)
	variances = make([]fit.Variances, count)
	for k := range variances {
		variances[k].Fit = mat.Dot(known.RowView(k), gradient.RowView(k))
		for _, p := range f.priors {
			if p.weak {
				v := known.At(k, p.column) / p.u
				variances[k].Weak += v * v
			}
		}
	}
	return value, variances
}

// Why a quantity is not known.
const (
	notTold        = "the takes do not tell it: add one of each coil alone with a known capacitor"
	betweenMissing = "the takes hardly tell it from the capacitance to the metal: add takes of both coils in the " +
		"other connections (series and parallel, each with the second coil's leads as they are and swapped)"
	balanceMissing = "it needs a take of each coil alone with the exciter over both, at the same level"
)

func (f *fitted) result() *Result {
	q := f.request
	r := &Result{Schema: ResultSchema, Pair: q.Name, Basis: []string{}, Warnings: []string{}, Connected: []Whole{},
		Guitar: []InGuitar{}, Hum: []Hum{}, fitted: f}
	r.Warnings = append(append(r.Warnings, q.Assumed...), f.said...)
	if len(q.Missing) > 0 {
		r.Warnings = append(r.Warnings, "pair.toml describes takes that are not there: "+strings.Join(q.Missing, ", "))
	}
	sought := slices.Repeat([]fit.Sought{{Missing: notTold}}, 6) // L, R, C of each half
	sought = append(sought, fit.Sought{Missing: notTold, Decibel: true}, fit.Sought{Missing: notTold, Decibel: true},
		fit.Sought{Missing: betweenMissing}, fit.Sought{Missing: betweenMissing}, fit.Sought{Missing: notTold},
		fit.Sought{Missing: notTold})
	connections := []circuit.PairConnection{
		{Wiring: circuit.PairInSeries}, {Wiring: circuit.PairInSeries, Reversed: true},
		{Wiring: circuit.PairInParallel}, {Wiring: circuit.PairInParallel, Reversed: true}}
	sought = append(sought, slices.Repeat([]fit.Sought{{Missing: notTold}}, 3*len(connections))...)
	known := f.carried(sought, func(x, dst []float64) {
		p := f.pair(x)
		for i, c := range p.Coils {
			dst[3*i], dst[3*i+1], dst[3*i+2] = c.InductanceH, c.ResistanceOhm, c.CapacitanceF
		}
		a, b := p.Coils[0], p.Coils[1]
		copy(dst[6:], []float64{p.Coupling, p.Coupling * math.Sqrt(a.InductanceH*b.InductanceH), p.BetweenF, p.GroundF,
			b.ResistanceOhm / a.ResistanceOhm, b.InductanceH / a.InductanceH})
		for i, c := range connections {
			whole := p.AsOne(c)
			copy(dst[12+3*i:], []float64{whole.InductanceH, whole.ResistanceOhm, whole.CapacitanceF})
		}
	})
	for i := range r.Halves {
		r.Halves[i] = Half{q.Coils[i].Name, known[3*i], known[3*i+1], known[3*i+2]}
	}
	r.Coupling, r.Mutual, r.Between, r.Ground = known[6], known[7], known[8], known[9]
	r.Balance.Resistance, r.Balance.Inductance = known[10], known[11]
	for i, c := range connections {
		k := known[12+3*i:]
		r.Connected = append(r.Connected, Whole{wiringNames[c.Wiring], c.Reversed, k[0], k[1], k[2]})
	}
	for _, t := range q.Takes {
		shown := TakeShown{Folder: t.Folder, Name: t.Name, Wiring: wiringNames[t.Connection.Wiring],
			Reversed: t.Connection.Reversed, Place: t.Place}
		if t.Connection.Wiring <= circuit.SecondAlone {
			shown.Other = "open"
			if t.Connection.Shorted {
				shown.Other = "shorted"
			}
		}
		r.Takes = append(r.Takes, shown)
	}
	f.balance(r)
	f.judge(r)
	return r
}

var wiringNames = map[circuit.PairWiring]string{circuit.FirstAlone: "first", circuit.SecondAlone: "second",
	circuit.PairInSeries: "series", circuit.PairInParallel: "parallel"}

// judge says how well the circuit explains the takes, and what the numbers are based on.
func (f *fitted) judge(r *Result) {
	r.Model = Model{Loops: f.loops, Chi2Reduced: f.chi2 / f.dof, DoF: int(f.dof),
		WidenedDB: f.ownU * 20 / math.Ln10}
	r.Basis = append(r.Basis, fmt.Sprintf("%d takes fitted together, what they have in common over frequency taken out",
		len(r.Takes)))
	if f.unsettled {
		r.Warnings = append(r.Warnings, "the search did not settle: the numbers may move with another take")
	}
	if f.ownU > leastOwnU {
		said := fmt.Sprintf("the two coils and what lies between them do not explain the takes to their noise: %.2g dB rms "+
			"are left, and U95 is widened for it", r.Model.WidenedDB)
		if r.Contradicted() {
			said += "; that is much: check what was connected in each take, which leads were swapped, whether the other coil " +
				"was open or shorted, and that the exciter did not move"
		}
		r.Warnings = slices.Insert(r.Warnings, 0, said)
	}
}

// mostWidenedDB is how much a circuit of two coils may leave unexplained of real ones: more
// is a wrong connection (judgement, no source).
const mostWidenedDB = 0.05

// Contradicted tells whether the takes contradict what is stated of them.
func (r *Result) Contradicted() bool { return r.Model.WidenedDB > mostWidenedDB }

// balanced is the place where both coils answer the same field; -1: there is none with
// takes of each coil alone.
func (f *fitted) balanced() int {
	for p, place := range f.places {
		if place != OverBoth {
			continue
		}
		if _, ok := f.plateaus(p); ok {
			return p
		}
	}
	return -1
}

// ratio is the second coil's EMF over the first's in the same field, at x; the field
// is stated to be the same within a limit.
func (f *fitted) ratio(x []float64, place int) float64 { return x[f.place+ofPlace*place] }

// fieldU is the relative standard uncertainty of the field's sameness.
func (f *fitted) fieldU() float64 { return f.request.FieldLimit / math.Sqrt(3) }

// humHz is where what is left of hum is told for coils in parallel; in series it is the same
// at every frequency.
const humHz = 50

func (f *fitted) balance(r *Result) {
	place := f.balanced()
	if place < 0 {
		r.Balance.TurnsArea = fit.Unknown(balanceMissing)
		for _, wiring := range []string{"series", "parallel"} {
			r.Hum = append(r.Hum, Hum{wiring, fit.Unknown(balanceMissing), nil})
		}
		return
	}
	value, variances := f.spreadOf(3, f.circuitColumns(), func(x, dst []float64) {
		dst[0] = math.Abs(f.ratio(x, place))
		p := f.pair(x)
		z := func(c circuit.Coil) complex128 {
			s := complex(0, 2*math.Pi*humHz)
			return complex(c.ResistanceOhm, 0) + s*c.Inductance(s)
		}
		q := complex(dst[0], 0) * z(p.Coils[0]) / z(p.Coils[1])
		dst[1], dst[2] = real(q), imag(q)
	})
	for k := range 2 {
		u := f.fieldU() * value[k]
		variances[k].Fit += u * u
	}
	r.Balance.TurnsArea = variances[0].Judge(value[0], fit.Sought{}, balanceMissing)
	r.HumCancels = new(f.ratio(f.x, place) > 0)
	r.Hum = append(r.Hum, humOf("series", value[0], 0, variances[0]),
		humOf("parallel", value[1], value[2], variances[1]))
	r.Basis = append(r.Basis, fmt.Sprintf("balance: both coils answer the same field within %.3g %%, with the exciter "+
		"over both", 100*f.request.FieldLimit))
}

// humOf is how much of a common field is left where the second coil's share of the signal is
// re + j im of the first's.
func humOf(wiring string, re, im float64, v fit.Variances) Hum {
	u := math.Sqrt(v.Fit)
	u95 := quantity.Coverage95 * u
	rejection := func(re float64) float64 {
		q := complex(re, im)
		return 20 * math.Log10(cmplx.Abs((1+q)/(1-q)))
	}
	h := Hum{Wiring: wiring}
	// The worse end of the interval, away from perfect balance.
	far := re + u95
	if re < 1 {
		far = re - u95
	}
	if math.Abs(1-re) <= u95 {
		least := min(rejection(re-u95), rejection(re+u95))
		h.AtLeast = &least
		h.Rejection = fit.Unknown(fmt.Sprintf("perfect balance lies within U95: at least %.1f dB", least))
		return h
	}
	near := 2*re - far
	slope := (rejection(re+1e-3*u) - rejection(re-1e-3*u)) / 2e-3
	h.Rejection = fit.Quantity{Value: rejection(re), U: math.Abs(slope), Low: rejection(far), High: rejection(near)}
	h.Rejection.U95 = quantity.Coverage95 * h.Rejection.U
	return h
}
