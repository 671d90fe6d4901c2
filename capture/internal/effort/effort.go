// Package effort counts the costly steps that are to be taken once for each
// recording; tests hold the counts against what is needed.
package effort

import "sync/atomic"

// The steps since the program began.
var (
	Searches    atomic.Int64 // stretches searched for sweeps
	Sweeps      atomic.Int64 // sweeps transformed and taken apart by bands
	Comparisons atomic.Int64 // sweeps compared in time with the reference
	Mains       atomic.Int64 // searches for the frequency of the mains
)
