package fit

import (
	"encoding/json"
	"math"
)

// Quantity is an estimate with its uncertainty, or the reason why there is
// none: where Why is set the numbers mean nothing.
type Quantity struct {
	Value float64
	U     float64 // standard uncertainty
	U95   float64 // expanded uncertainty, 95 %
	// Low and High bound the 95 % interval where it is not symmetric (profile
	// likelihood); both 0 where Value ± U95 says it.
	Low, High float64
	Why       string
}

// Unknown is a quantity that cannot be known, with the reason.
func Unknown(why string) Quantity { return Quantity{Value: math.NaN(), Why: why} }

// Known tells whether the quantity has a value.
func (q Quantity) Known() bool { return q.Why == "" }

// MarshalJSON writes {"value","u","U95"} or {"value":null,"why"}.
func (q Quantity) MarshalJSON() ([]byte, error) {
	if !q.Known() {
		return json.Marshal(struct {
			Value *float64 `json:"value"`
			Why   string   `json:"why"`
		}{nil, q.Why})
	}
	type known struct {
		Value float64  `json:"value"`
		U     float64  `json:"u"`
		U95   float64  `json:"U95"`
		Low   *float64 `json:"low,omitempty"`
		High  *float64 `json:"high,omitempty"`
	}
	k := known{Value: q.Value, U: q.U, U95: q.U95}
	if q.Low != 0 || q.High != 0 {
		k.Low, k.High = &q.Low, &q.High
	}
	return json.Marshal(k)
}

// UnmarshalJSON reads what MarshalJSON writes.
func (q *Quantity) UnmarshalJSON(b []byte) error {
	var raw struct {
		Value     *float64 `json:"value"`
		U, U95    float64
		Low, High float64
		Why       string
	}
	if err := json.Unmarshal(b, &raw); err != nil {
		return err
	}
	if raw.Value == nil {
		*q = Unknown(raw.Why)
		if q.Why == "" {
			q.Why = "no reason given"
		}
		return nil
	}
	*q = Quantity{Value: *raw.Value, U: raw.U, U95: raw.U95, Low: raw.Low, High: raw.High}
	return nil
}
