// Package pluck makes the sound of plucked strings by the method of Karplus and
// Strong [1] with extensions of Jaffe and Smith [2]: a burst of noise goes round a
// delay of one period through a mean of two samples, which takes away treble as a
// string's losses do. Of [2] are the fine tuning by an all-pass, the decay factor, the
// pick's place and the dynamics filter, which here stands for the width of the pick.
//
// It is a string without a coil: what a coil above it would be given to work on.
//
// References:
//
//	[1] K. Karplus, A. Strong: Digital synthesis of plucked-string and drum timbres.
//	    Computer Music Journal 7(2), 1983.
//	[2] D. A. Jaffe, J. O. Smith: Extensions of the Karplus-Strong plucked-string
//	    algorithm. Computer Music Journal 7(2), 1983.
package pluck

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
)

// RateHz is the sample rate of the sound: the mean of two samples, and with it how
// fast the treble fades, belongs to a rate.
const RateHz = 48000

const (
	pickPlace   = 1.0 / 8 // from the bridge, of the string's length
	pickHz      = 5e3     // above it the noise falls: bandwidth of the dynamics filter
	decaySecond = 6.0     // in which the fundamental at decayHz falls by 60 dB
	decayHz     = 82.4    // the lowest string; higher ones fade faster, by the root of it
	gapSeconds  = 0.6     // from pluck to pluck
	ringSeconds = 2.4     // after the last
	fadeSeconds = 0.05    // at the very end
)

// Note is a note by its name.
type Note struct {
	Name        string
	FrequencyHz float64
}

// The notes that are played: below and above there is no guitar.
const (
	lowestHz  = 30
	highestHz = 1400
	mostNotes = 24
)

// ParseNotes reads names of notes with their octaves, "E2 A2 F#3 Bb3": equal
// temperament with A4 at 440 Hz (ISO 16).
func ParseNotes(text string) ([]Note, error) {
	var notes []Note
	for _, name := range strings.Fields(strings.ReplaceAll(text, ",", " ")) {
		n, err := parseNote(name)
		if err != nil {
			return nil, err
		}
		notes = append(notes, n)
	}
	if len(notes) < 1 || len(notes) > mostNotes {
		return nil, fmt.Errorf("%d notes: want 1 to %d, such as E2 or \"E2 B2 E3\"", len(notes), mostNotes)
	}
	return notes, nil
}

func parseNote(name string) (Note, error) {
	wrong := fmt.Errorf("%q is not a note: want a letter A to G, # or b where it has one, and its octave, "+
		"such as E2, F#3 or Bb3", name)
	if name == "" {
		return Note{}, wrong
	}
	step, is := map[byte]int{'C': 0, 'D': 2, 'E': 4, 'F': 5, 'G': 7, 'A': 9, 'B': 11}[name[0]&^0x20]
	rest := name[1:]
	if r, sharp := strings.CutPrefix(rest, "#"); sharp {
		step, rest = step+1, r
	} else if r, flat := strings.CutPrefix(rest, "b"); flat {
		step, rest = step-1, r
	}
	octave, err := strconv.Atoi(rest)
	if !is || err != nil || len(rest) != 1 {
		return Note{}, wrong
	}
	hz := 440 * math.Pow(2, float64(12*(octave-4)+step-9)/12)
	if hz < lowestHz || hz > highestHz {
		return Note{}, fmt.Errorf("%s is %.0f Hz: want a note between %d and %d Hz", name, hz, lowestHz, highestHz)
	}
	return Note{Name: name, FrequencyHz: hz}, nil
}

// Strings plucks one string after the other and lets them ring: samples at RateHz with
// a peak of 1, the same at every call.
func Strings(notes []Note) []float64 {
	at := func(seconds float64) int { return int(math.Round(seconds * RateHz)) }
	x := make([]float64, at(gapSeconds*float64(len(notes)-1)+ringSeconds))
	for i, n := range notes {
		from := at(gapSeconds * float64(i))
		for k, v := range pluck(n.FrequencyHz, len(x)-from) {
			x[from+k] += v
		}
	}
	peak := 0.0
	fade := at(fadeSeconds)
	for k := range x {
		if left := len(x) - k; left < fade {
			x[k] *= float64(left) / float64(fade)
		}
		peak = max(peak, math.Abs(x[k]))
	}
	for k := range x {
		x[k] /= peak
	}
	return x
}

// pluck is one string.
func pluck(hz float64, samples int) []float64 {
	// Going round takes n samples, half of one in the mean, the rest in the all-pass
	// [2, tuning].
	period := RateHz / hz
	n := int(period - 0.5 - 0.1)
	rest := period - 0.5 - float64(n)
	w := 2 * math.Pi * hz / RateHz
	allpass := math.Sin((w-w*rest)/2) / math.Sin((w+w*rest)/2)
	// The mean lets cos(pi f/rate) of the fundamental through, the factor sees to the
	// rest of its decay [2, decay].
	seconds := decaySecond * math.Sqrt(decayHz/hz)
	factor := min(1, math.Pow(10, -3/(hz*seconds))/math.Cos(w/2))

	y := burst(hz, n, samples)
	meanOf, passedFrom, passed := 0.0, 0.0, 0.0
	for k := range y {
		back := 0.0
		if k >= n {
			back = y[k-n]
		}
		mean := factor * (back + meanOf) / 2
		meanOf = back
		passed = allpass*(mean-passed) + passedFrom
		passedFrom = mean
		y[k] += passed
	}
	return y
}

// burst is the noise of the pick, one period of n samples long, without the partials
// that have a node where the pick is, and followed by silence.
func burst(hz float64, n, samples int) []float64 {
	random := rand.New(rand.NewPCG(1983, uint64(math.Round(hz*1000))))
	noise := make([]float64, n)
	for k := range noise {
		noise[k] = 2*random.Float64() - 1
	}
	x := make([]float64, samples)
	place := int(math.Round(pickPlace * RateHz / hz))
	smooth := math.Exp(-math.Pi * pickHz / RateHz) // [2, dynamics]: bandwidth pickHz
	low := 0.0
	for k := range x {
		in := 0.0
		if k < n {
			in = noise[k]
		}
		if k >= place && k-place < n {
			in -= noise[k-place]
		}
		if low = (1-smooth)*in + smooth*low; k > 4*n {
			break // it has faded out
		}
		x[k] = low
	}
	return x
}
