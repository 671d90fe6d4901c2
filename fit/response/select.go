package response

// Select is the response at the frequencies that keep wants, asked in
// ascending order; what does not belong to single points is shared.
func (r *Response) Select(keep func(frequencyHz float64) bool) *Response {
	out := *r
	out.FrequencyHz, out.H, out.Variance, out.NoiseFloor = nil, nil, nil, nil
	out.Harmonic, out.HarmonicFloor, out.harmonicRatio = nil, nil, nil
	for i, f := range r.FrequencyHz {
		if keep(f) {
			out.FrequencyHz = append(out.FrequencyHz, f)
			out.H = append(out.H, r.H[i])
			out.Variance = append(out.Variance, r.Variance[i])
		}
	}
	return &out
}
