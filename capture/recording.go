package capture

// Recording is audio in memory.
type Recording struct {
	RateHz int
	// Samples[channel][frame], full scale ±1.
	Samples [][]float64
	// FullScale is the largest magnitude the file's format can hold; 1 for
	// integer formats, +Inf for floating point.
	// Remarks says what was odd about the file and was mended in reading
	// ("size field not set: read to the end of the file").
	Remarks []string
}
