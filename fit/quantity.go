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
	// Given is what the quantity is under a supposition, where it cannot be known
	// without; nil: nothing.
	Given *Given
}

// Given is a quantity that is known only if something holds that no take shows and
// nobody stated.
type Given struct {
	If       string // "there is no metal in the coil and no dielectric loss"
	Quantity Quantity
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
	// Given belongs to an unknown quantity.
	Given *givenJSON `json:"given_form,omitempty"`
}

// givenJSON is a Given in a file: {"if","value","u","U95"}.
type givenJSON struct {
	If string `json:"if"`
	quantityJSON
}

// MarshalJSON writes a quantityJSON.
func (q Quantity) MarshalJSON() ([]byte, error) { return json.Marshal(q.inFile()) }

func (q Quantity) inFile() quantityJSON {
	if !q.Known() {
		k := quantityJSON{Why: q.Why}
		if g := q.Given; g != nil {
			k.Given = &givenJSON{g.If, g.Quantity.inFile()}
		}
		return k
	}
	k := quantityJSON{Value: &q.Value, U: &q.U, U95: &q.U95}
	if q.Low != 0 || q.High != 0 {
		k.Low, k.High = &q.Low, &q.High
	}
	return k
}

// UnmarshalJSON reads what MarshalJSON writes.
func (q *Quantity) UnmarshalJSON(b []byte) error {
	var k quantityJSON
	if err := json.Unmarshal(b, &k); err != nil {
		return err
	}
	*q = k.quantity()
	if g := k.Given; g != nil && !q.Known() {
		q.Given = &Given{g.If, g.quantity()}
	}
	return nil
}

// quantity is what was written, without what is given a supposition.
func (k quantityJSON) quantity() Quantity {
	if k.Value == nil {
		return Unknown(cmp.Or(k.Why, "no reason given"))
	}
	read := Quantity{Value: *k.Value}
	for from, to := range map[*float64]*float64{k.U: &read.U, k.U95: &read.U95, k.Low: &read.Low, k.High: &read.High} {
		if from != nil {
			*to = *from
		}
	}
	return read
}
