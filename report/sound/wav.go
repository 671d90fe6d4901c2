package sound

import (
	"errors"

	"coilsweep/capture/wav"
)

// WAV is the sound as a WAV file of integers with so many bits, whose texts name
// the program that made it.
func (s Sound) WAV(rateHz, bits int, madeBy string) ([]byte, error) {
	var m memory
	w, err := wav.NewWriter(&m, wav.Format{Encoding: wav.PCM, Bits: bits, RateHz: rateHz, Channels: 1},
		wav.Info{Software: madeBy})
	if err != nil {
		return nil, err
	}
	err = errors.Join(w.WriteFloat64(s.Samples), w.Close())
	return m.text, err
}

// Start is the beginning of the sound, so many samples, faded out where that cuts it.
func (s Sound) Start(samples, fade int) Sound {
	if len(s.Samples) <= samples {
		return s
	}
	s.Samples = scaled(s.Samples[:samples], 1)
	for i := range min(fade, samples) {
		s.Samples[samples-1-i] *= float64(i) / float64(fade)
	}
	return s
}

// memory is a file in memory.
type memory struct{ text []byte }

func (m *memory) Write(p []byte) (int, error) {
	m.text = append(m.text, p...)
	return len(p), nil
}

func (m *memory) WriteAt(p []byte, at int64) (int, error) {
	return copy(m.text[at:], p), nil
}

func (m *memory) Sync() error { return nil }
