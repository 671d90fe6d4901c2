package record

import (
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"coilsweep/capture"
	"coilsweep/capture/atomicfile"
	"coilsweep/capture/wav"
)

// A take whose audio is kept as FLAC holds the samples that were recorded, by checksums
// that the flac program confirms, and no WAV any more.
func TestAudioKeptAsFLAC(t *testing.T) {
	if _, err := exec.LookPath("flac"); err != nil {
		t.Skip("no flac program here")
	}
	s := shortStimulus(t)
	pcm16 := wav.Format{Encoding: wav.PCM, Bits: 16, RateHz: 48000}
	float := wav.Format{Encoding: wav.Float, Bits: 32, RateHz: 48000}
	// Floating-point samples of a converter: multiples of its step. A rounded -0 is 0.
	converted := func(x []float64, bits int) []float64 {
		y := make([]float64, len(x))
		for i, v := range x {
			y[i] = math.Ldexp(math.Round(math.Ldexp(v, bits-1)), 1-bits)
		}
		y[0] = math.Copysign(0, -1)
		return y
	}
	for name, c := range map[string]struct {
		format wav.Format
		bits   int
		coil   []float64
	}{
		"24 bits":              {pcm24, 24, answered(s, 5000, 0.5)},
		"16 bits":              {pcm16, 16, answered(s, 5000, 0.5)},
		"24 bits in floats":    {float, 24, converted(answered(s, 5000, 0.5), 24)},
		"16 bits in floats":    {float, 16, converted(answered(s, 5000, 0.5), 16)},
		"16 bits in a 24 file": {pcm24, 16, converted(answered(s, 5000, 0.5), 16)},
	} {
		path := writeWAV(t, c.format, c.coil, converted(heard(s, 5000, 0.25), 16))
		p := plan(t, "bare")
		p.Reference.Kind = "loopback"
		f := newFolder(t)
		plain, err := Import(t.Context(), f, p, ImportOptions{Recording: path})
		if err != nil {
			t.Fatal(err)
		}
		p.Name, p.Audio.File = "smaller", capture.FLACFile
		take, err := Import(t.Context(), f, p, ImportOptions{Recording: path})
		if err != nil {
			t.Fatal(err)
		}
		if fmt.Sprint(take.Quality, take.Alignment) != fmt.Sprint(plain.Quality, plain.Alignment) {
			t.Errorf("%s: judged otherwise:\n%+v\n%+v", name, plain.Quality, take.Quality)
		}
		if a := take.Audio; a.File != capture.FLACFile || a.SampleBits != c.bits || a.StaysWAV != "" {
			t.Errorf("%s: kept as %+v", name, a)
		}
		if files := tree(t, f.TakeDir("smaller")); len(files) != 3 { // with the folder itself
			t.Errorf("%s: the take has %d entries, want take.toml and capture.flac", name, len(files))
		}
		want, err := f.Audio(plain)
		if err != nil {
			t.Fatal(err)
		}
		read, err := f.ReadTake("smaller")
		if err != nil {
			t.Fatal(err)
		}
		got, err := f.Audio(read)
		if err != nil {
			t.Fatal(err)
		}
		if got.RateHz != want.RateHz || len(got.Samples) != 2 || !slices.Equal(got.Samples[0], want.Samples[0]) ||
			!slices.Equal(got.Samples[1], want.Samples[1]) {
			t.Errorf("%s: the audio is another", name)
		}
		kept := filepath.Join(f.TakeDir("smaller"), capture.FLACFile)
		raw, err := exec.Command("flac", "--totally-silent", "-dc", "--force-raw-format", "--endian=little",
			"--sign=signed", kept).Output()
		if err != nil || atomicfile.Sum(raw) != read.Audio.SamplesSHA256 {
			t.Errorf("%s: flac decodes %d bytes, %v, with another checksum than take.toml has", name, len(raw), err)
		}
		if err := os.WriteFile(kept, append(raw[:10:10], raw...), 0o666); err != nil {
			t.Fatal(err)
		}
		if _, err := f.Audio(read); err == nil || !strings.Contains(err.Error(), "was changed after it was recorded") {
			t.Errorf("%s: changed audio is read: %v", name, err)
		}
	}
}

// What FLAC cannot hold stays WAV, and it is said why: numbers between the steps of a
// converter, and full scale.
func TestAudioStaysWAV(t *testing.T) {
	p := plan(t, "hissing")
	p.Audio.File = capture.FLACFile
	f := newFolder(t)
	take, err := Run(t.Context(), mono(), f, p, Options{})
	if err != nil {
		t.Fatal(err)
	}
	full := make([]float64, 100_000)
	full[7] = 1
	p.Name = "full"
	loud, err := Import(t.Context(), f, p, ImportOptions{Recording: writeWAV(t,
		wav.Format{Encoding: wav.Float, Bits: 32, RateHz: 48000}, full)})
	if err != nil {
		t.Fatal(err)
	}
	for why, take := range map[string]capture.Take{"no integer of 24 bits": take, "frame 7 of channel 1 is 1,": loud} {
		if a := take.Audio; a.File != capture.AudioFile || !strings.Contains(a.StaysWAV, why) {
			t.Errorf("%s: %+v", take.Name, a)
		}
		if _, err := f.Audio(take); err != nil {
			t.Error(err)
		}
		if files := tree(t, f.TakeDir(take.Name)); len(files) != 3 {
			t.Errorf("%s has %d entries, want take.toml and capture.wav", take.Name, len(files))
		}
	}
}
