package quality

import (
	"math"

	"gonum.org/v1/gonum/stat"
)

// FloorDBFS stands for digital silence where a level is kept.
const FloorDBFS = -200

// ZeroAdvice says what may be wrong where an input gives digital silence, not even
// noise.
const ZeroAdvice = "the system may keep this program from the input (Windows: Settings, Privacy & security, " +
	"Microphone; macOS: System Settings, Privacy & Security, Microphone), or it is the wrong device or channel"

// Level gathers the peak and the mean square of samples, full scale ±1.
type Level struct {
	Peak   float64 // the largest magnitude
	Square float64 // sum of the squares
	N      int
}

// LevelOf is the level of x.
func LevelOf(x []float64) (l Level) {
	for _, v := range x {
		l.Add(v)
	}
	return l
}

// Add takes in a sample.
func (l *Level) Add(x float64) {
	l.Peak = max(l.Peak, math.Abs(x))
	l.Square += x * x
	l.N++
}

// With is the level of the samples of both.
func (l Level) With(o Level) Level {
	return Level{max(l.Peak, o.Peak), l.Square + o.Square, l.N + o.N}
}

// PeakDBFS is the level of a sine with that peak, -Inf for silence.
func (l Level) PeakDBFS() float64 { return 20 * math.Log10(l.Peak) }

// RMSDBFS is the level of the mean square, -Inf for silence.
func (l Level) RMSDBFS() float64 { return 10 * math.Log10(2*l.Square/float64(max(1, l.N))) }

// Kept are both as they are kept in files: -200 dBFS at least.
func (l Level) Kept() (peakDBFS, rmsDBFS float64) {
	return max(l.PeakDBFS(), FloorDBFS), max(l.RMSDBFS(), FloorDBFS)
}

// DBFS is the level of a mean square, -200 at least; a full-scale sine has ½.
func DBFS(meanSquare float64) float64 { return max(10*math.Log10(2*meanSquare), FloorDBFS) }

// Variance is the mean square about the mean (inputs have an offset), 0 of nothing.
func Variance(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	return stat.PopVariance(x, nil)
}
