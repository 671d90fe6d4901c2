package excite

import (
	"fmt"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
)

// FFTPACK's factors of n: 4 as often as it goes, then 2, 3 and 5, then the rest; 0
// where it has other factors.
func factors(n int) (count int) {
	for _, p := range []int{4, 2, 3, 5} {
		for ; n%p == 0; n /= p {
			count++
		}
	}
	if n != 1 {
		return 0
	}
	return count
}

// Every number below 2^28 that is even and a product of 2, 3 and 5 is a length exactly
// if FFTPACK's tables hold its factors; then so is its half, and from any number on the
// next such number is chosen.
func TestTransformLengths(t *testing.T) {
	const most = 1 << 28
	smooth, refused, last := 0, 0, 0
	var list []int
	for five := 1; five < most; five *= 5 {
		for three := five; three < most; three *= 3 {
			for n := 2 * three; n < most; n *= 2 {
				list = append(list, n)
			}
		}
	}
	for _, n := range list {
		smooth++
		fits := factors(n) <= 13
		if !fits {
			refused++
		}
		if IsTransform(n) != fits {
			t.Errorf("%d with %d factors: a length is %v", n, factors(n), IsTransform(n))
		}
		if fits && (TransformFrom(n) != n || TransformUpTo(n) != n || factors(n/2) > 13) {
			t.Errorf("%d: from it %d, up to it %d, factors of its half %d", n, TransformFrom(n), TransformUpTo(n),
				factors(n/2))
		}
		if next := TransformFrom(n + 1); next <= n || next%2 != 0 || factors(next) == 0 || factors(next) > 13 {
			t.Errorf("%d is chosen above %d", next, n)
		}
		if before := TransformUpTo(n - 1); before >= n || before > 0 && (before%2 != 0 || factors(before) > 13) {
			t.Errorf("%d is chosen below %d", before, n)
		}
		last = max(last, n)
	}
	if refused != 260 {
		t.Errorf("%d of %d even lengths below 2^28 are refused, want 260", refused, smooth)
	}
	// OEIS A051037, the numbers to 30, and the first after 1080.
	for _, n := range []int{1, 2, 3, 4, 5, 6, 8, 9, 10, 12, 15, 16, 18, 20, 24, 25, 27, 30, 1125} {
		if !IsTransform(n) {
			t.Errorf("%d is no length", n)
		}
	}
	for _, n := range []int{-4, 0, 7, 11, 13, 14, 17, 22, 1081, 1100} {
		if IsTransform(n) {
			t.Errorf("%d is a length", n)
		}
	}
}

// The library itself at the lengths about its limit.
func TestTransformLimit(t *testing.T) {
	works := func(n int) (err error) {
		defer func() {
			if p := recover(); p != nil {
				err = fmt.Errorf("%v", p)
			}
		}()
		fourier.NewFFT(n)
		fourier.NewCmplxFFT(n / 2)
		return nil
	}
	for _, n := range []int{2 * 531441, 3188646, 4251528, TransformFrom(3188646), TransformUpTo(3188646)} {
		if err := works(n); (err == nil) != IsTransform(n) {
			t.Errorf("%d: the library says %v, a length is %v", n, err, IsTransform(n))
		}
	}
}

// Whatever sweep is asked for, its period can be transformed.
func TestDesignedPeriods(t *testing.T) {
	for _, rate := range []int{44100, 48000, 88200, 96000, 176400, 192000} {
		for s := 1.0; s <= 120; s++ {
			for _, repeats := range []int{1, 2, 3, 8, 75} {
				r := DefaultRequest()
				r.RateHz, r.SweepS, r.Repeats = rate, s, repeats
				if float64(repeats)*(s+2)*1.1*float64(rate) > maxSamples {
					continue
				}
				least := int((s + r.GapS) * float64(rate))
				if n := quietPeriod(least, rate, repeats); !IsTransform(n) || n < least {
					t.Errorf("%d Hz, %g s, %d sweeps: period %d", rate, s, repeats, n)
				}
			}
		}
	}
}
