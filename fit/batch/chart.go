package batch

import "math"

// Chart is a control chart for individual values with moving ranges
// (ISO 7870-2:2013; NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2):
// limits at three standard deviations, which are taken from the differences
// between one coil and the next, so that a drift shows.
type Chart struct {
	Values      []float64
	Centre      float64
	MovingRange float64 // mean of |x_i - x_(i-1)|
	Lower       float64
	Upper       float64
	Signals     []Signal
}

// Signal is a place where the process is not as it was.
type Signal struct {
	At   int // index into Values
	What SignalKind
}

// SignalKind is the rule that gave a signal.
type SignalKind string

// The rules (ISO 7870-2:2013, tests 1 and 2; L. S. Nelson, J. Quality
// Technology 16, 1984, 237).
const (
	Beyond SignalKind = "beyond a control limit"
	Run    SignalKind = "nine in a row on one side"
)

const (
	// meanRange is the mean range of two normal values, in standard deviations.
	meanRange = 1.128
	runLength = 9
	// leastForChart is the least number of values for limits that mean
	// something.
	leastForChart = 5
)

// ChartOf makes the chart of values in the order of time; nil for less than
// five.
func ChartOf(values []float64) *Chart {
	if len(values) < leastForChart {
		return nil
	}
	c := &Chart{Values: values, Centre: mean(values)}
	for i := 1; i < len(values); i++ {
		c.MovingRange += math.Abs(values[i]-values[i-1]) / float64(len(values)-1)
	}
	c.Lower, c.Upper = c.Centre-3*c.MovingRange/meanRange, c.Centre+3*c.MovingRange/meanRange
	side, run := 0.0, 0
	for i, v := range values {
		if v < c.Lower || v > c.Upper {
			c.Signals = append(c.Signals, Signal{i, Beyond})
		}
		now := 0.0
		switch {
		case v > c.Centre:
			now = 1
		case v < c.Centre:
			now = -1
		}
		if now != side || now == 0 {
			side, run = now, 0
		}
		if run++; run == runLength {
			c.Signals = append(c.Signals, Signal{i, Run})
		}
	}
	return c
}
