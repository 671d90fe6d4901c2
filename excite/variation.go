package excite

// AtLevel is the same stimulus at another level.
func (s Stimulus) AtLevel(dBFS float64) (Stimulus, error) {
	s.LevelDBFS = dBFS
	return s.described()
}

// Prefix is the beginning of s up to the end of its n-th period: the stimulus of
// a recording that ended there. It has no tail.
func (s Stimulus) Prefix(n int) (Stimulus, error) {
	if n < s.Repeats {
		s.Repeats, s.TailSamples = n, 0
	}
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
