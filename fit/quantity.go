package fit

import (
	"cmp"
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

// quantityJSON is a Quantity in a file: {"value","u","U95"} or {"value":null,"why"}.
type quantityJSON struct {
	Value *float64 `json:"value"`
	U     *float64 `json:"u,omitempty"`
	U95   *float64 `json:"U95,omitempty"`
	Low   *float64 `json:"low,omitempty"`
	High  *float64 `json:"high,omitempty"`
	Why   string   `json:"why,omitempty"`
}

// MarshalJSON writes a quantityJSON.
func (q Quantity) MarshalJSON() ([]byte, error) {
	if !q.Known() {
		return json.Marshal(quantityJSON{Why: q.Why})
	}
	k := quantityJSON{Value: &q.Value, U: &q.U, U95: &q.U95}
	if q.Low != 0 || q.High != 0 {
		k.Low, k.High = &q.Low, &q.High
	}
	return json.Marshal(k)
}

// UnmarshalJSON reads what MarshalJSON writes.
func (q *Quantity) UnmarshalJSON(b []byte) error {
	var read Quantity
	k := quantityJSON{U: &read.U, U95: &read.U95, Low: &read.Low, High: &read.High}
	if err := json.Unmarshal(b, &k); err != nil {
		return err
	}
	if k.Value == nil {
		*q = Unknown(cmp.Or(k.Why, "no reason given"))
		return nil
	}
	read.Value = *k.Value
	*q = read
	return nil
}
