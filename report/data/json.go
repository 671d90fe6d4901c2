package data

import (
	"math"
)

func orEmpty[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

// number or nil, for JSON.
func finiteOrNil(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}
