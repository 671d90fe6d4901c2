package excite

import (
	"math"
	"slices"
	"sync"
)

const (
	// maxFactors is how many factors FFTPACK's tables hold, on which our transform
	// stands: ifac(15), two of them taken (P. N. Swarztrauber, FFTPACK 4, rffti and
	// cffti). It takes out fours first, then 2, 3 and 5.
	maxFactors = 13
	// maxTransform bounds the table of lengths: twice the longest stimulus, and
	// more than any recording of one.
	maxTransform = 1 << 29
)

// transforms are all lengths to maxTransform at which a transform is fast, in
// ascending order.
var transforms = sync.OnceValue(func() []int {
	var list []int
	for five, fives := 1, 0; five <= maxTransform; five, fives = five*5, fives+1 {
		for three, threes := five, 0; three <= maxTransform; three, threes = three*3, threes+1 {
			for n, twos := three, 0; n <= maxTransform; n, twos = n*2, twos+1 {
				if fives+threes+(twos+1)/2 <= maxFactors {
					list = append(list, n)
				}
			}
		}
	}
	slices.Sort(list)
	return list
})

// IsTransform reports whether a transform of n values, real or complex, is possible
// and fast: n is a product of powers of 2, 3 and 5, and of few enough of them.
func IsTransform(n int) bool {
	_, is := slices.BinarySearch(transforms(), n)
	return is
}

// TransformFrom is the least even length of a transform from n on, at which one of
// half the length is possible, too; math.MaxInt above 2^29.
func TransformFrom(n int) int {
	list := transforms()
	for i, _ := slices.BinarySearch(list, n); i < len(list); i++ {
		if list[i]%2 == 0 {
			return list[i]
		}
	}
	return math.MaxInt
}

// TransformUpTo is the greatest even length of a transform up to n; 0: there is none.
func TransformUpTo(n int) int {
	list := transforms()
	i, _ := slices.BinarySearch(list, n+1)
	for i--; i >= 0; i-- {
		if list[i]%2 == 0 {
			return list[i]
		}
	}
	return 0
}
