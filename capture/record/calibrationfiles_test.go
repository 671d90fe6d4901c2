package record

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilsweep/capture"
)

// A calibration is kept with its recording, sample for sample, and its stimulus.
func TestKeepCalibration(t *testing.T) {
	dir := t.TempDir()
	c := calibration(t)
	r := capture.Recording{RateHz: 48000, FullScale: math.Inf(1),
		Samples: [][]float64{{0, 0.5, -0.25, float64(float32(0.1)), 1.5}}}
	if _, _, err := capture.KeepCalibration(dir, c, r); err == nil {
		t.Error("a calibration without its stimulus was kept")
	}
	s := shortStimulus(t)
	c.Stimulus = &s
	path, sum, err := capture.KeepCalibration(dir, c, r)
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got, err := capture.ChecksumOf(path); err != nil || got != sum || path != filepath.Join(dir, "card-48000.toml") {
		t.Errorf("%s has checksum %s, said was %s; %v", path, got, sum, err)
	}
	read, err := capture.DecodeCalibration(text)
	if err != nil {
		t.Fatal(err)
	}
	if err := read.Stimulus.Validate(); err != nil {
		t.Error(err)
	}
	audio, err := capture.CalibrationAudio(dir, read)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(r.Samples, audio.Samples); diff != "" || audio.RateHz != 48000 {
		t.Errorf("recording read back at %d Hz (-kept +read):\n%s", audio.RateHz, diff)
	}
	read.Audio, c.Audio = nil, nil
	if diff := cmp.Diff(c, read); diff != "" {
		t.Errorf("read back (-written +read):\n%s", diff)
	}
	_, err = capture.CalibrationAudio(dir, calibration(t))
	wantError(t, err, "without its recording", "calibrate again")

	// Another recording is not taken for it, nor none.
	c.Audio = &capture.Audio{File: "card-48000.wav", SHA256: sum}
	_, err = capture.CalibrationAudio(dir, c)
	wantError(t, err, "card-48000.wav", "is not the recording", "2026-11-01")
	c.Audio.File = "other.wav"
	_, err = capture.CalibrationAudio(dir, c)
	wantError(t, err, "other.wav")

	// What cannot be written whole leaves what was there.
	kept := tree(t, dir)
	for _, bad := range []func(c *capture.Calibration, r *capture.Recording){
		func(c *capture.Calibration, r *capture.Recording) { c.U[1] = math.NaN() },
		func(c *capture.Calibration, r *capture.Recording) { r.Samples = nil },
	} {
		c, r := calibration(t), r
		c.Stimulus = &s
		bad(&c, &r)
		if _, _, err := capture.KeepCalibration(dir, c, r); err == nil {
			t.Error("nonsense was kept")
		}
	}
	if _, _, err := capture.KeepCalibration(filepath.Join(dir, "nowhere"), c, r); err == nil {
		t.Error("a folder that is not there was written to")
	}
	if diff := cmp.Diff(kept, tree(t, dir)); diff != "" {
		t.Errorf("changed (-before +after):\n%s", diff)
	}
}
