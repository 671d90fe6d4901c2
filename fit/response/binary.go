package response

import (
	"bytes"
	"encoding/gob"
	"errors"
	"fmt"
	"math"
	"slices"
)

// plain is a Response without its methods.
type plain Response

// binary is a Response as it is written.
type binary struct {
	Plain         plain
	HarmonicRatio [][]complex128
}

// MarshalBinary writes all of the response, numbers bit for bit.
func (r *Response) MarshalBinary() ([]byte, error) {
	var b bytes.Buffer
	err := gob.NewEncoder(&b).Encode(binary{plain(*r), r.harmonicRatio})
	return b.Bytes(), err
}

// UnmarshalBinary reads what MarshalBinary wrote. A response that does not hold
// together is an error: no points, lists of different lengths, frequencies that
// do not ascend.
func (r *Response) UnmarshalBinary(data []byte) error {
	var b binary
	if err := gob.NewDecoder(bytes.NewReader(data)).Decode(&b); err != nil {
		return fmt.Errorf("response: %w", err)
	}
	read := Response(b.Plain)
	read.harmonicRatio = b.HarmonicRatio
	if err := read.check(); err != nil {
		return fmt.Errorf("response: %w", err)
	}
	*r = read
	return nil
}

func (r *Response) check() error {
	n := len(r.FrequencyHz)
	whole := n > 0 && len(r.H) == n && len(r.Variance) == n && (len(r.NoiseFloor) == n || r.NoiseFloor == nil)
	for _, h := range slices.Concat(r.Harmonic, r.HarmonicFloor) {
		whole = whole && len(h) == n
	}
	for _, h := range r.harmonicRatio {
		whole = whole && len(h) == n
	}
	if !whole {
		return errors.New("its lists are not of one length")
	}
	last := 0.0
	for _, hz := range r.FrequencyHz {
		if !(hz > last) || math.IsInf(hz, 1) {
			return errors.New("its frequencies do not ascend")
		}
		last = hz
	}
	return nil
}
