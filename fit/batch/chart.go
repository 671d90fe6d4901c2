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

// The run rules (Western Electric, Statistical Quality Control Handbook, 1956, section
// I-B, from memory; NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2): what a
// process that is as it was does once in 92 coils.
const (
	Beyond     SignalKind = "beyond a control limit"
	TwoOfThree SignalKind = "two of three beyond two standard deviations on one side"
	FourOfFive SignalKind = "four of five beyond one standard deviation on one side"
	Run        SignalKind = "eight in a row on one side"
)

// rules are the run rules after the first: so many of the last so many lie beyond so
// many standard deviations on one side, the latest among them.
var rules = []struct {
	what         SignalKind
	least, among int
	beyond       float64
}{{TwoOfThree, 2, 3, 2}, {FourOfFive, 4, 5, 1}, {Run, 8, 8, 0}}

const (
	// meanRange is the mean range of two normal values, in standard deviations.
	meanRange = 1.128
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
	sd := c.MovingRange / meanRange
	c.Lower, c.Upper = c.Centre-3*sd, c.Centre+3*sd
	c.Signals = signals(values, c.Centre, sd)
	return c
}

// signals are the places where values about a centre break a rule, each place once, by
// the first rule that says so. A rule that goes on being broken says so once.
func signals(values []float64, centre, sd float64) (found []Signal) {
	broken := func(rule, at int) bool {
		r := rules[rule]
		if at < r.among-1 {
			return false
		}
		above, below := 0, 0
		for _, v := range values[at-r.among+1 : at+1] {
			switch d := v - centre; {
			case d > r.beyond*sd:
				above++
			case -d > r.beyond*sd:
				below++
			}
		}
		d := values[at] - centre
		return above >= r.least && d > r.beyond*sd || below >= r.least && -d > r.beyond*sd
	}
	for i, v := range values {
		if math.Abs(v-centre) > 3*sd {
			found = append(found, Signal{i, Beyond})
			continue
		}
		for rule := range rules {
			if broken(rule, i) {
				if !broken(rule, i-1) {
					found = append(found, Signal{i, rules[rule].what})
				}
				break
			}
		}
	}
	return found
}
