// Package excite designs what is played into the exciter coil: the stimulus,
// a train of synchronised exponential sine sweeps, described by a few numbers
// from which it is made again bit for bit.
package excite

// Stimulus describes a stimulus completely; Samples makes it. All lengths are
// whole samples at RateHz, so that the description carries no rounding.
//
//	| LeadIn | sweep | gap | sweep | gap | ... | sweep | gap | Tail |
//	         |<- Period ->|
//
// The sweep is the synchronised exponential sine sweep of Novak, Lotton and
// Simon (J. Audio Eng. Soc. 63(10), 2015): x(t) = A sin(2 pi f1 L exp(t/L)),
// f1 L a whole number.
type Stimulus struct {
	Schema         string  `toml:"schema"` // "coilsweep.stimulus/1"
	RateHz         int     `toml:"rate_hz"`
	FromHz         float64 `toml:"from_hz"`
	ToHz           float64 `toml:"to_hz"`
	SweepSamples   int     `toml:"sweep_samples"`   // one sweep, faded ends included
	PeriodSamples  int     `toml:"period_samples"`  // sweep and gap: 2^a 3^b 5^c
	LeadInSamples  int     `toml:"lead_in_samples"` // silence before the first sweep, at least 0.5 s
	TailSamples    int     `toml:"tail_samples"`    // silence after the last period
	FadeInSamples  int     `toml:"fade_in_samples"`
	FadeOutSamples int     `toml:"fade_out_samples"`
	Cycles         int     `toml:"cycles"` // f1 L: with FromHz it gives the sweep rate L = Cycles/FromHz in s
	Repeats        int     `toml:"repeats"`
	LevelDBFS      float64 `toml:"level_dbfs"` // AES17: a full-scale sine is 0 dBFS
	// SHA256 is the hex SHA-256 of the samples as 24-bit little-endian PCM.
	SHA256 string `toml:"sha256"`
}
