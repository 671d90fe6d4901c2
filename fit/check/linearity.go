package check

import (
	"errors"
	"math"
	"math/cmplx"

	"coilsweep/fit/response"
)

// Linearity is how far a response depends on the level.
type Linearity struct {
	// DeviationDB is the largest deviation of the response at the lower level
	// from that at the higher one, over a third of an octave about AtHz, with
	// its standard uncertainty. A gain that is common to all frequencies counts.
	DeviationDB float64 `json:"deviation_db"`
	UDB         float64 `json:"u_db"`
	AtHz        float64 `json:"at_hz"`
	// Linear: the deviation is within its uncertainty or too small to matter.
	Linear bool `json:"linear"`
}

const (
	// linearDB is the deviation that does not matter.
	linearDB = 0.03
	// linearFromHz is where the comparison begins: below, noise and hum hide
	// what a level could do.
	linearFromHz = 100
	// deviationU is by how many standard uncertainties the largest of some
	// thirty bands must deviate to count.
	deviationU = 4
)

// CompareLevels compares the responses of one coil at two levels, of the same
// sweep and so on the same frequencies.
func CompareLevels(high, low *response.Response) (Linearity, error) {
	if len(high.FrequencyHz) != len(low.FrequencyHz) {
		return Linearity{}, errors.New("the responses at the two levels have different frequencies")
	}
	worst := Linearity{Linear: true}
	score := -1.0
	first := 0
	for first < len(high.FrequencyHz) && high.FrequencyHz[first] < linearFromHz {
		first++
	}
	for first < len(high.FrequencyHz) {
		last, sum, weights := first, 0.0, 0.0
		for ; last < len(high.FrequencyHz) && high.FrequencyHz[last] < high.FrequencyHz[first]*math.Cbrt(2); last++ {
			h, l := cmplx.Abs(high.H[last]), cmplx.Abs(low.H[last])
			// Variance is that of both components: ln|H| has half of it.
			u2 := high.Variance[last]/(2*h*h) + low.Variance[last]/(2*l*l)
			if u2 <= 0 || h == 0 || l == 0 {
				continue
			}
			sum += math.Log(l/h) / u2
			weights += 1 / u2
		}
		if weights > 0 {
			const perNeper = 20 / math.Ln10
			deviation, u := perNeper*sum/weights, perNeper/math.Sqrt(weights)
			significant := math.Abs(deviation) > deviationU*u && math.Abs(deviation) > linearDB
			// What is significant goes before what is merely large.
			s := math.Abs(deviation)
			if significant {
				s += 1e3
			}
			if s > score {
				score = s
				worst = Linearity{DeviationDB: deviation, UDB: u,
					AtHz: math.Sqrt(high.FrequencyHz[first] * high.FrequencyHz[last-1]), Linear: !significant}
			}
		}
		first = last
	}
	if score < 0 {
		return Linearity{}, errors.New("the responses at the two levels have nothing to compare")
	}
	return worst, nil
}
