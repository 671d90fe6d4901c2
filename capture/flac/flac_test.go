package flac

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"math"
	"math/rand/v2"
	"os/exec"
	"strings"
	"testing"
)

// sweepOf is a sweep of 3 s from 20 Hz to 20 kHz in noise: what a take holds.
func sweepOf(rateHz, bits int, dBFS, noiseDBFS float64, seed uint64) []int32 {
	dice := rand.New(rand.NewPCG(seed, 1))
	full := math.Ldexp(1, bits-1)
	amplitude, noise := full*math.Pow(10, dBFS/20), full*math.Pow(10, noiseDBFS/20)
	samples := make([]int32, 4*rateHz+11) // the last block is short, and odd
	l := 3 / math.Log(1000)
	for i := range samples {
		t, x := float64(i)/float64(rateHz)-0.5, 0.0
		if t >= 0 && t < 3 {
			x = amplitude * math.Sin(2*math.Pi*20*l*math.Expm1(t/l))
		}
		samples[i] = int32(min(max(math.Round(x+noise*dice.NormFloat64()), -full), full-1))
	}
	return samples
}

// The reference decoder, flac, gives every file back as it was, finds its checksums right,
// and does not make it much smaller itself.
func TestEncodeForTheReferenceDecoder(t *testing.T) {
	if _, err := exec.LookPath("flac"); err != nil {
		t.Skip("no flac program here")
	}
	noise := rand.New(rand.NewPCG(5, 6))
	edges := func(bits, n int) []int32 {
		limit := int32(1) << (bits - 1)
		x := make([]int32, n)
		for i := range x {
			x[i] = []int32{-limit, limit - 1, 0, -1, 1}[noise.IntN(5)]
		}
		return x
	}
	for name, c := range map[string]struct {
		Audio
		overhead float64 // how much longer than what flac -8 makes of it
	}{
		"one channel": {Audio{48000, 24, [][]int32{sweepOf(48000, 24, -6, -100, 1)}}, 1.03},
		"with reference": {Audio{96000, 24, [][]int32{sweepOf(96000, 24, -20, -95, 2),
			sweepOf(96000, 24, -12, -110, 3)}}, 1.03},
		"16 bits": {Audio{44100, 16, [][]int32{sweepOf(44100, 16, -6, -92, 4),
			sweepOf(44100, 16, -12, -93, 5)}}, 1.03},
		"quiet":             {Audio{48000, 24, [][]int32{sweepOf(48000, 24, -80, -130, 6)}}, 1.03},
		"silence":           {Audio{192000, 24, [][]int32{make([]int32, 10000)}}, 1.5},
		"nothing but edges": {Audio{48000, 24, [][]int32{edges(24, 9001), edges(24, 9001)}}, 1.05},
		"edges of 16 bits":  {Audio{11025, 16, [][]int32{edges(16, 5000)}}, 1.05},
		"one block":         {Audio{48000, 24, [][]int32{sweepOf(48000, 24, -6, -100, 1)[20000:20100]}}, 1.2},
		"odd rate":          {Audio{37123, 24, [][]int32{sweepOf(37123, 24, -6, -100, 1)}}, 1.03},
	} {
		t.Run(name, func(t *testing.T) {
			var file bytes.Buffer
			if err := Encode(&file, c.Audio); err != nil {
				t.Fatal(err)
			}
			raw := reference(t, file.Bytes(), "-d", "--force-raw-format", "--endian=little", "--sign=signed")
			if got := fmt.Sprintf("%x", sha256.Sum256(raw)); got != c.SamplesSum() {
				t.Errorf("flac decodes %d bytes that are not the samples", len(raw))
			}
			theirs := reference(t, raw, "-8", "--force-raw-format", "--endian=little", "--sign=signed",
				fmt.Sprintf("--sample-rate=%d", c.RateHz), fmt.Sprintf("--bps=%d", c.Bits),
				fmt.Sprintf("--channels=%d", len(c.Channels)), "--no-padding", "--no-seektable")
			// Its file begins with a comment of its own.
			t.Logf("%d bytes of %d: to %.3f, flac -8 to %.3f", file.Len(), len(raw), float64(file.Len())/float64(len(raw)),
				float64(len(theirs))/float64(len(raw)))
			if float64(file.Len()) > c.overhead*float64(len(theirs)) {
				t.Errorf("%d bytes, flac -8 makes %d", file.Len(), len(theirs))
			}
		})
	}
}

// reference runs the flac program, version 1.4.2 on Debian 12, on what is on its standard
// input.
func reference(t *testing.T, in []byte, args ...string) []byte {
	t.Helper()
	cmd := exec.Command("flac", append([]string{"--silent", "--stdout"}, append(args, "-")...)...)
	var out, said bytes.Buffer
	cmd.Stdin, cmd.Stdout, cmd.Stderr = bytes.NewReader(in), &out, &said
	// To standard output it writes a file without the checksum of its samples, and says so.
	if err := cmd.Run(); err != nil || args[0] == "-d" && said.Len() > 0 {
		t.Fatalf("flac: %v: %s", err, &said)
	}
	return out.Bytes()
}

func TestEncodeRefuses(t *testing.T) {
	for _, c := range []struct {
		Audio
		says string
	}{
		{Audio{48000, 32, [][]int32{{1}}}, "want 16 or 24"},
		{Audio{48000, 24, nil}, "0 channels"},
		{Audio{48000, 24, [][]int32{{1}, {2}, {3}}}, "3 channels"},
		{Audio{48000, 24, [][]int32{{}}}, "no samples"},
		{Audio{48000, 24, [][]int32{{1, 2}, {1}}}, "different lengths"},
		{Audio{48000, 16, [][]int32{{1 << 15}}}, "does not fit"},
		{Audio{48000, 24, [][]int32{{-1<<23 - 1}}}, "does not fit"},
	} {
		if err := Encode(new(bytes.Buffer), c.Audio); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%v: %v, want %q", c.Audio, err, c.says)
		}
	}
}

// Differences do not predict a sine at a third of the sampling rate; a fitted predictor leaves
// little more than its rounding, at any frequency.
func TestSinesArePredicted(t *testing.T) {
	for _, hz := range []float64{200, 3000, 11000, 16100, 20000} {
		samples := make([]int32, 4*blockFrames)
		for i := range samples {
			samples[i] = int32(math.Round(1e6 * math.Sin(2*math.Pi*hz*float64(i)/48000)))
		}
		var file bytes.Buffer
		if err := Encode(&file, Audio{48000, 24, [][]int32{samples}}); err != nil {
			t.Fatal(err)
		}
		if bits := 8 * float64(file.Len()) / float64(len(samples)); bits > 10 {
			t.Errorf("%g Hz: %.1f bits of 24 a sample", hz, bits)
		}
	}
}
