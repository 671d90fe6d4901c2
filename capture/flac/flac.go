// Package flac writes FLAC files by linear prediction. The library that it writes through
// knows frames and bits, and predicts by differences alone, which does not follow a sweep
// at high frequencies; the predictors and the codes of what they leave are chosen here.
//
// References:
//
//	[1] RFC 9639, Free Lossless Audio Codec.
//	[2] J. Makhoul, Linear Prediction: A Tutorial Review, Proc. IEEE 63 (1975) 561-580:
//	    the autocorrelation method and its recursion by order.
package flac

import (
	"crypto/md5"
	"crypto/sha256"
	"errors"
	"fmt"
	"hash"
	"io"
	"math"

	"github.com/mewkiz/flac"
	"github.com/mewkiz/flac/frame"
	"github.com/mewkiz/flac/meta"
)

const (
	blockFrames = 4096
	maxOrder    = 12 // of a predictor; more gains nothing on sweeps
	// coeffBits is the precision of a predictor's coefficients, sign included; maxShift
	// the most that they can be shifted by [1, 9.2.6].
	coeffBits, maxShift = 15, 15
	maxPartOrder        = 6
)

// Audio is what a file is to hold.
type Audio struct {
	RateHz   int
	Bits     int       // 16 or 24
	Channels [][]int32 // samples, all of the same length; one or two channels
}

// check reports the first thing wrong with a.
func (a Audio) check() error {
	switch {
	case a.Bits != 16 && a.Bits != 24:
		return fmt.Errorf("flac: samples of %d bits: want 16 or 24", a.Bits)
	case len(a.Channels) != 1 && len(a.Channels) != 2:
		return fmt.Errorf("flac: %d channels: want one or two", len(a.Channels))
	case len(a.Channels[0]) == 0:
		return errors.New("flac: no samples")
	}
	limit := int32(1) << (a.Bits - 1)
	for _, samples := range a.Channels {
		if len(samples) != len(a.Channels[0]) {
			return errors.New("flac: channels of different lengths")
		}
		for _, s := range samples {
			if s < -limit || s >= limit {
				return fmt.Errorf("flac: sample %d does not fit into %d bits", s, a.Bits)
			}
		}
	}
	return nil
}

// SamplesSum is the SHA-256, in hexadecimal digits, of the samples: those of a frame side by
// side, each a signed integer of Bits bits, little-endian. It is that of what
// 'flac -d --force-raw-format --endian=little --sign=signed' makes of the file.
func (a Audio) SamplesSum() string { return fmt.Sprintf("%x", a.sum(sha256.New())) }

func (a Audio) sum(h hash.Hash) []byte {
	raw := make([]byte, 0, blockFrames*len(a.Channels)*a.Bits/8)
	for i := range a.Channels[0] {
		for _, samples := range a.Channels {
			for shift := 0; shift < a.Bits; shift += 8 {
				raw = append(raw, byte(samples[i]>>shift))
			}
		}
		if len(raw) == cap(raw) {
			h.Write(raw)
			raw = raw[:0]
		}
	}
	h.Write(raw)
	return h.Sum(nil)
}

// Encode writes a as a FLAC file.
func Encode(w io.Writer, a Audio) error {
	if err := a.check(); err != nil {
		return err
	}
	info := &meta.StreamInfo{BlockSizeMin: blockFrames, BlockSizeMax: blockFrames, SampleRate: uint32(a.RateHz),
		NChannels: uint8(len(a.Channels)), BitsPerSample: uint8(a.Bits), NSamples: uint64(len(a.Channels[0]))}
	copy(info.MD5sum[:], a.sum(md5.New()))
	// Its Close would go back and fill in what is known here from the start.
	e, err := flac.NewEncoder(struct{ io.Writer }{w}, info)
	if err != nil {
		return fmt.Errorf("flac: %w", err)
	}
	e.EnablePredictionAnalysis(false)
	for at := 0; at < len(a.Channels[0]); at += blockFrames {
		n := min(blockFrames, len(a.Channels[0])-at)
		f := &frame.Frame{Header: frame.Header{HasFixedBlockSize: true, BlockSize: uint16(n),
			SampleRate: uint32(a.RateHz), BitsPerSample: uint8(a.Bits), Channels: frame.ChannelsMono}}
		if len(a.Channels) == 2 {
			f.Channels = frame.ChannelsLR
		}
		for _, samples := range a.Channels {
			f.Subframes = append(f.Subframes, subframe(samples[at:at+n], a.Bits))
		}
		if err := e.WriteFrame(f); err != nil {
			return fmt.Errorf("flac: %w", err)
		}
	}
	return nil
}

// subframe chooses the shortest code for a block of samples.
func subframe(samples []int32, bits int) *frame.Subframe {
	best := &frame.Subframe{SubHeader: frame.SubHeader{Pred: frame.PredVerbatim}, Samples: samples,
		NSamples: len(samples)}
	least := bits * len(samples)
	constant := true
	for _, s := range samples[1:] {
		constant = constant && s == samples[0]
	}
	if constant {
		best.Pred = frame.PredConstant
		return best
	}
	consider := func(h frame.SubHeader, coeffs []int32, head int) {
		left, ok := residuals(samples, coeffs, h.CoeffShift)
		if !ok {
			return
		}
		h.Order = len(coeffs)
		length := 0
		h.ResidualCodingMethod, h.RiceSubframe, length = rice(left, h.Order)
		if length += head + h.Order*bits; length < least {
			best, least = &frame.Subframe{SubHeader: h, Samples: samples, NSamples: len(samples)}, length
		}
	}
	for order := 0; order < len(frame.FixedCoeffs) && order < len(samples); order++ {
		consider(frame.SubHeader{Pred: frame.PredFixed}, frame.FixedCoeffs[order], 0)
	}
	for _, p := range predictors(samples) {
		consider(frame.SubHeader{Pred: frame.PredFIR, CoeffPrec: coeffBits, CoeffShift: p.shift, Coeffs: p.coeffs},
			p.coeffs, 9+coeffBits*len(p.coeffs))
	}
	return best
}

// residuals are the samples after the first len(coeffs) less what is predicted of them;
// false where one is no 32-bit number.
func residuals(samples, coeffs []int32, shift int32) ([]int32, bool) {
	left := make([]int32, 0, len(samples))
	for i := len(coeffs); i < len(samples); i++ {
		predicted := int64(0)
		for j, c := range coeffs {
			predicted += int64(c) * int64(samples[i-j-1])
		}
		d := int64(samples[i]) - predicted>>shift
		if d <= math.MinInt32 || d > math.MaxInt32 {
			return nil, false
		}
		left = append(left, int32(d))
	}
	return left, true
}

// predictor predicts a sample from those before it: the sum of each times its
// coefficient, the latest first, shifted right.
type predictor struct {
	coeffs []int32
	shift  int32
}

// predictors are those of the orders 2, 4, ... maxOrder that fit the samples best [2], under
// a window without which the ends of the block would dominate.
func predictors(samples []int32) (list []predictor) {
	n := len(samples)
	if n <= 2*maxOrder {
		return nil
	}
	x := make([]float64, n)
	for i, s := range samples {
		at := 2*(float64(i)+0.5)/float64(n) - 1
		x[i] = float64(s) * (1 - at*at)
	}
	var r [maxOrder + 1]float64
	for lag := range r {
		for i := lag; i < n; i++ {
			r[lag] += x[i] * x[i-lag]
		}
	}
	var a, last [maxOrder]float64
	left := r[0]
	for m := 0; m < maxOrder && left > 0; m++ {
		k := r[m+1]
		for j := range m {
			k -= a[j] * r[m-j]
		}
		k /= left
		last = a
		a[m] = k
		for j := range m {
			a[j] = last[j] - k*last[m-1-j]
		}
		left *= 1 - k*k
		if (m+1)%2 == 0 {
			if p, ok := quantised(a[:m+1]); ok {
				list = append(list, p)
			}
		}
	}
	return list
}

// quantised is a predictor with coefficients of coeffBits bits; false where they are too
// large. What rounding takes off a coefficient the next one gets.
func quantised(a []float64) (predictor, bool) {
	most := 0.0
	for _, c := range a {
		most = max(most, math.Abs(c))
	}
	_, exponent := math.Frexp(most)
	shift := min(coeffBits-1-exponent, maxShift)
	if !(most > 0) || shift < 0 || math.IsInf(most, 0) {
		return predictor{}, false
	}
	p := predictor{shift: int32(shift)}
	const limit = 1 << (coeffBits - 1)
	rest := 0.0
	for _, c := range a {
		exact := math.Ldexp(c, shift) + rest
		q := min(max(math.Round(exact), -limit), limit-1)
		rest = exact - q
		p.coeffs = append(p.coeffs, int32(q))
	}
	return p, true
}

// rice chooses the partitions of what is left by a predictor of an order, and the Rice
// parameter of each [1, 9.2.7]; length is that of their code in bits.
func rice(left []int32, order int) (method frame.ResidualCodingMethod, best *frame.RiceSubframe, length int) {
	n := len(left) + order
	for part := 0; part <= maxPartOrder; part++ {
		size := n >> part
		if part > 0 && (n%(1<<part) != 0 || size <= order) {
			break
		}
		coded := &frame.RiceSubframe{PartOrder: part}
		bits, widest := 6, uint(0)
		for begin := 0; begin < n; begin += size {
			param, of := parameter(left[max(0, begin-order) : begin+size-order])
			coded.Partitions = append(coded.Partitions, frame.RicePartition{Param: param})
			bits, widest = bits+of+5, max(widest, param)
		}
		if best == nil || bits < length {
			best, length, method = coded, bits, frame.ResidualCodingMethodRice1
			if widest > 14 {
				method = frame.ResidualCodingMethodRice2
			}
		}
	}
	return method, best, length
}

// parameter is the Rice parameter with which numbers have the shortest code, and its
// length in bits.
func parameter(left []int32) (best uint, length int) {
	sum := 0
	for _, d := range left {
		sum += int(folded(d))
	}
	if len(left) == 0 {
		return 0, 0
	}
	// The shortest lies by one that is 2^k below the mean.
	guess := 0
	for mean := sum / len(left); mean > 1; mean >>= 1 {
		guess++
	}
	for k := max(0, guess-1); k <= min(guess+1, 30); k++ {
		bits := len(left) * (k + 1)
		for _, d := range left {
			bits += int(folded(d) >> k)
		}
		if length == 0 || bits < length {
			best, length = uint(k), bits
		}
	}
	return best, length
}

// folded is 0, 1, 2, 3, 4 for 0, -1, 1, -2, 2.
func folded(d int32) uint32 { return uint32(d<<1) ^ uint32(d>>31) }
