package wav_test

import (
	"bytes"
	"errors"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"coilsweep/capture/wav"
)

var float2 = wav.Format{Encoding: wav.Float, Bits: 32, RateHz: 48000, Channels: 2}

// told is a file with texts about its audio.
func told(t testing.TB, about wav.Info) []byte {
	t.Helper()
	var file memFile
	w, err := wav.NewWriter(&file, float2, about)
	if err != nil {
		t.Fatal(err)
	}
	if err := w.WriteFloat64([]float64{0.1, -0.2, 0.3, -1}); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return file.b
}

var about = wav.Info{Name: "bare", Created: "2026-11-25T14:30:00.000+01:00", Software: "coilsweep test",
	Comment: "Messung „blank“, sha256 00ff"}

// The texts are read back, and change no bit of the audio.
func TestInfo(t *testing.T) {
	_, plain := read(t, told(t, wav.Info{}))
	for _, want := range []wav.Info{about, {Name: "x"}, {Comment: "odd"}, {}} {
		r, got := read(t, told(t, want))
		if r.Info != want || len(r.Remarks) > 0 {
			t.Errorf("read %+v with the remarks %q, want %+v", r.Info, r.Remarks, want)
		}
		for c := range got {
			for i := range got[c] {
				if math.Float64bits(got[c][i]) != math.Float64bits(plain[c][i]) {
					t.Errorf("with %+v sample %d of channel %d is %g, not %g", want, i, c, got[c][i], plain[c][i])
				}
			}
		}
	}
	long := wav.Info{Name: strings.Repeat("ä", 2000) + "\x00", Comment: "a\x00b\xff"}
	if r, _ := read(t, told(t, long)); r.Info.Name != strings.Repeat("ä", 512) || r.Info.Comment != "ab" {
		t.Errorf("of texts that are too long or odd: %d bytes, %q", len(r.Info.Name), r.Info.Comment)
	}
}

// Texts of the same length can be put in place of those that stand there, others not.
func TestRetell(t *testing.T) {
	var file memFile
	w, err := wav.NewWriter(&file, float2, about)
	if err != nil {
		t.Fatal(err)
	}
	other := about
	other.Comment = strings.Replace(about.Comment, "00ff", "1234", 1)
	if err := w.Retell(other); err != nil {
		t.Fatal(err)
	}
	if err := w.Retell(wav.Info{Name: "bare"}); err == nil {
		t.Error("shorter texts are taken")
	}
	if err := w.WriteFloat64([]float64{0.5, -0.5}); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if r, got := read(t, file.b); r.Info != other || got[1][0] != -0.5 || len(r.Remarks) > 0 {
		t.Errorf("read %+v, %v, %q", r.Info, got, r.Remarks)
	}
}

// Damaged texts are no damage to the audio.
func TestDamagedInfo(t *testing.T) {
	for name, body := range map[string]string{
		"another list": "adtlINAM\x02\x00\x00\x00x\x00", "claims too much": "INFOINAM\xff\xff\xff\x7fx\x00",
		"cut": "INFOINAM\x02", "empty": "",
	} {
		r, got := read(t, riff(mono16, chunk("LIST", []byte(body)), chunk("data", samples)))
		if r.Info != (wav.Info{}) || len(got[0]) == 0 {
			t.Errorf("%s: read %+v and %d samples", name, r.Info, len(got[0]))
		}
	}
}

// Another program finds the same samples in a file with texts.
func TestOthersReadInfo(t *testing.T) {
	flac, err := exec.LookPath("flac")
	if err != nil {
		t.Skip("flac is not installed")
	}
	path := filepath.Join(t.TempDir(), "told.wav")
	audio := []float64{0.5, -0.25, 0.125, -1}
	var file memFile
	w, err := wav.NewWriter(&file, wav.Format{Encoding: wav.PCM, Bits: 24, RateHz: 48000, Channels: 2}, about)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(w.WriteFloat64(audio), w.Close(), os.WriteFile(path, file.b, 0o666)); err != nil {
		t.Fatal(err)
	}
	raw := path + ".raw"
	for _, args := range [][]string{{"--silent", "-o", path + ".flac", path},
		{"--silent", "-d", "--force-raw-format", "--endian=little", "--sign=signed", "-o", raw, path + ".flac"}} {
		if out, err := exec.Command(flac, args...).CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
	}
	got, err := os.ReadFile(raw)
	if err != nil {
		t.Fatal(err)
	}
	if want := file.b[len(file.b)-3*len(audio):]; !bytes.Equal(got, want) {
		t.Errorf("flac reads % x, want % x", got, want)
	}
}
