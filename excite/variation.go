package excite

// AtLevel is the same stimulus at another level.
func (s Stimulus) AtLevel(dBFS float64) (Stimulus, error) {
	s.LevelDBFS = dBFS
	return s.described()
}

// WithRepeats is the same stimulus with another number of repeats: a prefix,
// lead-in and sweeps, of one with more.
func (s Stimulus) WithRepeats(n int) (Stimulus, error) {
	s.Repeats = n
	return s.described()
}

// described is s, checked and with its own checksum.
func (s Stimulus) described() (Stimulus, error) {
	if err := s.check(); err != nil {
		return Stimulus{}, err
	}
	s.SHA256 = s.checksum()
	return s, nil
}
