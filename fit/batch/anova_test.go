package batch

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s is %.15g, want %.15g", what, got, want)
	}
}

// siRstv is the data set SiRstv of the NIST Statistical Reference Datasets
// (analysis of variance): resistivity of silicon wafers, five instruments,
// five values each.
var siRstv = [][]float64{
	{196.3052, 196.1240, 196.1890, 196.2569, 196.3403},
	{196.3042, 196.3825, 196.1669, 196.3257, 196.0422},
	{196.1303, 196.2005, 196.2889, 196.0343, 196.1811},
	{196.2795, 196.1748, 196.1494, 196.1485, 195.9885},
	{196.2119, 196.1051, 196.1850, 196.0052, 196.2090},
}

// The certified values of SiRstv. Data and certified values agree by exact
// rational arithmetic.
func TestAnovaNIST(t *testing.T) {
	a, err := AnovaOf(siRstv)
	if err != nil {
		t.Fatal(err)
	}
	if a.BetweenDF != 4 || a.WithinDF != 20 {
		t.Errorf("degrees of freedom %d and %d, want 4 and 20", a.BetweenDF, a.WithinDF)
	}
	const digits = 1e-9 // the data's own rounding in binary
	near(t, "sum of squares between", a.BetweenSS, 5.11462616000000e-02, digits)
	near(t, "mean square between", a.BetweenMS, 1.27865654000000e-02, digits)
	near(t, "sum of squares within", a.WithinSS, 2.16636560000000e-01, digits)
	near(t, "mean square within", a.WithinMS, 1.08318280000000e-02, digits)
	near(t, "F", a.F, 1.18046237440255, digits)
	near(t, "repeatability", a.RepeatabilitySD, 1.04076068334656e-01, digits)
	// ISO 5725-2: s_L² = (MS between - MS within)/5.
	near(t, "spread between", a.BetweenSD, math.Sqrt((1.27865654e-2-1.08318280e-2)/5), 1e-8)
	// P by scipy.stats.f_oneway (SciPy 1.10.1) of the same data.
	near(t, "P", a.P, 0.34944749340223, 1e-9)
}

// The difficulty of the NIST sets SmLs07 to SmLs09: constant leading digits.
// In whole numbers nothing is rounded, so that an offset may change nothing.
func TestAnovaKeepsDigits(t *testing.T) {
	plain := [][]float64{{3, 5, 4}, {9, 7}, {2, 2, 3, 5}}
	want, err := AnovaOf(plain)
	if err != nil {
		t.Fatal(err)
	}
	var shifted [][]float64
	for _, g := range plain {
		var s []float64
		for _, v := range g {
			s = append(s, v+1e12)
		}
		shifted = append(shifted, s)
	}
	got, err := AnovaOf(shifted)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "F", got.F, want.F, 1e-3)
	near(t, "sum of squares within", got.WithinSS, 10, 1e-3) // 2 + 2 + 6 by hand
	near(t, "sum of squares within", want.WithinSS, 10, 1e-12)
	// Groups' means 4, 8, 3 about 40/9: 3·(4/9)² + 2·(32/9)² + 4·(13/9)².
	near(t, "sum of squares between", want.BetweenSS, (3*16+2*1024+4*169)/81.0, 1e-12)
}

// Simulated coils, five measurements each: what was put in comes out. The
// sampling error of both is below 1.5 % for 4000 coils.
func TestAnovaFindsBothSpreads(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	const between, within = 3.0, 2.0
	var groups [][]float64
	for range 4000 {
		coil := 100 + between*random.NormFloat64()
		var g []float64
		for range 2 + random.IntN(4) { // unequal groups
			g = append(g, coil+within*random.NormFloat64())
		}
		groups = append(groups, g)
	}
	a, err := AnovaOf(groups)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "repeatability", a.RepeatabilitySD, within, 0.04)
	near(t, "spread between", a.BetweenSD, between, 0.04)
	if a.P > 1e-6 {
		t.Errorf("P = %g for coils that differ", a.P)
	}
}

func TestAnovaOfTooLittle(t *testing.T) {
	for _, groups := range [][][]float64{nil, {{1, 2, 3}}, {{1}, {2}, {3}}, {{}, {1, 2}}} {
		if _, err := AnovaOf(groups); !errors.Is(err, ErrNoRepeats) {
			t.Errorf("%v: %v", groups, err)
		}
	}
	a, err := AnovaOf([][]float64{{1, 1}, {1, 1}})
	if err != nil || !math.IsNaN(a.P) || a.BetweenSD != 0 || a.RepeatabilitySD != 0 {
		t.Errorf("no scatter at all: %+v, %v", a, err)
	}
}

// The definition of Q_n: unbiased for normal values at every size, and
// untouched by wild values.
func TestQn(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	for _, n := range []int{2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 25} {
		const trials = 20000
		sum := 0.0
		x := make([]float64, n)
		for range trials {
			for i := range x {
				x[i] = random.NormFloat64()
			}
			sum += Qn(x)
		}
		// Standard error of the mean: below 0.76/sqrt(20000) = 0.54 %, for n = 2.
		if got := sum / trials; math.Abs(got-1) > 0.02 {
			t.Errorf("n = %d: mean of Q_n %.4f for a standard deviation of 1", n, got)
		}
	}
	good := []float64{9.8, 10.1, 10.0, 9.9, 10.2, 10.05, 9.95}
	if with, without := Qn(append([]float64{1e6}, good...)), Qn(good); with > 2*without {
		t.Errorf("one wild value takes Q_n from %g to %g", without, with)
	}
	if !math.IsNaN(Qn([]float64{1})) {
		t.Error("one value has a spread")
	}
}

func TestMedian(t *testing.T) {
	for _, test := range []struct {
		x    []float64
		want float64
	}{{[]float64{3, 1, 2}, 2}, {[]float64{4, 1, 3, 2}, 2.5}, {[]float64{7}, 7}} {
		if got := Median(test.x); got != test.want {
			t.Errorf("median of %v is %g", test.x, got)
		}
	}
	if !math.IsNaN(Median(nil)) {
		t.Error("nothing has a median")
	}
}

// NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2: flow rate of ten
// batches.
func TestChartNIST(t *testing.T) {
	c := ChartOf([]float64{49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1})
	for _, v := range []struct {
		what      string
		got, want float64
	}{{"centre", c.Centre, 50.81}, {"moving range", c.MovingRange, 1.8778}, {"upper limit", c.Upper, 55.8041},
		{"lower limit", c.Lower, 45.8159}} {
		if math.Abs(v.got-v.want) > 5e-5 {
			t.Errorf("%s %.5f, want %.4f", v.what, v.got, v.want)
		}
	}
	if c.Signals != nil {
		t.Errorf("signals %v, the handbook sees the process in control", c.Signals)
	}
}

func TestChartSignals(t *testing.T) {
	for _, test := range []struct {
		name   string
		values []float64
		want   []Signal
	}{
		{"one beyond", []float64{0, 6, 0, 6, 0, 6, 0, 6, 0, 40, 0, 6, 0, 6, 0, 6, 0, 6}, []Signal{{9, Beyond}}},
		{"a step", []float64{1, 0, 1, 0, 1, 0, 1, 0, 1, 3, 2, 3, 2, 3, 2, 3, 2, 3}, []Signal{{7, Run}, {16, Run}}},
		{"two of three", []float64{0, 1, -1, 1, -1, 1, -1, 1, 5.5, 5.5, -1, 1, -1, 1, -1, 1, -1, 1}, []Signal{{9, TwoOfThree}}},
		{"four of five", []float64{-1, 1, -1, 1, -1, 1, 2.9, 2.9, -1, 2.9, 2.9, -1, 1, -1, 1, -1, 1, -1, 1, -1, 1, -1},
			[]Signal{{10, FourOfFive}}},
		{"quiet", []float64{1, 3, 2, 1, 3, 2, 1, 3, 2, 1, 3, 2}, nil},
	} {
		c := ChartOf(test.values)
		if len(c.Signals) != len(test.want) {
			t.Errorf("%s: signals %v, want %v", test.name, c.Signals, test.want)
			continue
		}
		for i, s := range test.want {
			if c.Signals[i] != s {
				t.Errorf("%s: signal %v, want %v", test.name, c.Signals[i], s)
			}
		}
	}
	if ChartOf([]float64{1, 2, 3, 4}) != nil {
		t.Error("a chart of four values")
	}
}

// A process that is as it was gives a signal once in 370.4 values by the first rule, and
// once in 91.75 by all four (C. W. Champ and W. H. Woodall, Technometrics 29, 1987, 393,
// as the NIST/SEMATECH e-Handbook, 6.3.2, has it).
func TestFalseAlarms(t *testing.T) {
	const runs = 20000
	random := rand.New(rand.NewPCG(29, 393))
	total := map[string]float64{}
	for range runs {
		var values []float64
		for first := 0; ; {
			values = append(values, random.NormFloat64())
			last := values[max(0, len(values)-9):]
			found := signals(last, 0, 1)
			new := len(found) > 0 && found[len(found)-1].At == len(last)-1
			if new && first == 0 {
				first = len(values)
				total["all"] += float64(first)
			}
			if new && found[len(found)-1].What == Beyond {
				total["first"] += float64(len(values))
				break
			}
		}
	}
	// The mean of 20000 runs is known to 0.7 %.
	near(t, "values to an alarm", total["all"]/runs, 91.75, 0.02)
	near(t, "values to an alarm of the first rule", total["first"]/runs, 370.4, 0.02)
}
