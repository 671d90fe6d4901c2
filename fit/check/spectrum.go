package check

import "coilsweep/capture/quality"

// Mains is the hum that was found, in the coil's channel.
type Mains struct {
	Hz    float64 `json:"hz"`
	DBFS  float64 `json:"dbfs"` // of all lines
	Lines []Line  `json:"lines"`
	rest  float64 // mean square of what is left without them
}

// Line is one harmonic of the mains.
type Line struct {
	Order int     `json:"order"`
	Hz    float64 `json:"hz"`
	DBFS  float64 `json:"dbfs"`
}

// mainsOrders is how many harmonics are shown.
const mainsOrders = 12

// silence is the part of the recording before anything of the sweep can come
// back; the first 50 ms, in which devices settle, are left out.
func (s Scout) silence() quality.Span {
	n, rate := s.Recording.Frames(), s.Recording.RateHz
	return quality.Span{From: min(rate/20, n), To: min(s.Take.Stimulus.LeadInSamples-rate/200, n)}
}

// mains measures the harmonics of the mains in the coil's channel, at the
// frequency that the take's quality names, and what is left of the silence quiet
// without them.
func (s Scout) mains(quiet quality.Span) *Mains {
	hz, rate, coil := s.Take.Quality.MainsHz, s.Recording.RateHz, s.Recording.Samples[0]
	at := s.Take.Alignment
	if hz == 0 || at == nil {
		return nil
	}
	hum := quality.MainsAt(hz, coil, rate, quality.Silences(s.Take.Stimulus, *at, len(coil)), at.Jumps)
	if hum == nil {
		return nil
	}
	m := &Mains{Hz: hum.Hz(), rest: quality.Variance(hum.Removed(coil, quiet))}
	total := 0.0
	for h := 1; h <= mainsOrders; h++ {
		power := hum.Power(h)
		m.Lines = append(m.Lines, Line{Order: h, Hz: float64(h) * m.Hz, DBFS: quality.DBFS(power)})
		total += power
	}
	m.DBFS = quality.DBFS(total)
	return m
}
