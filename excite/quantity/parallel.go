package quantity

import (
	"math"
	"strings"
)

// parallelSign stands between parts that are connected in parallel: "470p 1% || 220p 1%".
const parallelSign = "||"

// MostParallel is the most parts in parallel that are read.
const MostParallel = 4

// Beside is the text of two parts in parallel.
func Beside(one, other string) string { return one + " " + parallelSign + " " + other }

// Components are the parts that v is made of, in parallel; v itself where it is one.
func (v Value) Components() []Value {
	if len(v.Parallel) > 0 {
		return v.Parallel
	}
	return []Value{v}
}

// parseParallel reads parts in parallel. Their uncertainties are independent, each as its
// part states it (JCGM 100:2008, 5.1.2); together they have one where all have.
func parseParallel(text string, unit Unit) (Value, error) {
	p := parser{typed: text, unit: unit, rules: units[unit]}
	pieces := strings.Split(text, parallelSign)
	if len(pieces) > MostParallel || unit != Farad && unit != Ohm {
		return Value{}, p.fail("at most %d capacitors or resistors in parallel are read", MostParallel)
	}
	all := Value{Unit: unit, Text: strings.TrimSpace(text), Basis: Expanded}
	sum, variance := 0.0, 0.0
	for i, piece := range pieces {
		part, err := Parse(piece, unit)
		if err != nil {
			return Value{}, err
		}
		if part.Celsius != nil {
			return Value{}, p.fail("a temperature belongs to one resistance, not to some in parallel")
		}
		if part.Basis == Unstated {
			all.Basis = Unstated
		}
		if all.Dielectric = part.Dielectric; i > 0 && part.Dielectric != all.Parallel[0].Dielectric {
			all.Dielectric = UnstatedDielectric
		}
		all.Parallel = append(all.Parallel, part)
		size, u := part.SI, part.U()
		if unit == Ohm { // conductances add up
			size, u = 1/size, u/(size*size)
		}
		sum, variance = sum+size, variance+u*u
	}
	all.SI, all.Half = sum, 2*math.Sqrt(variance) // u is half of what is Expanded
	if unit == Ohm {
		all.SI, all.Half = 1/sum, all.Half/(sum*sum)
	}
	if all.Basis == Unstated {
		all.Half = 0
	}
	return all, nil
}
