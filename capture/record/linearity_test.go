package record

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilsweep/capture"
	"coilsweep/excite/quantity"
)

// A test of linearity is added to a take and nothing else in its file changes.
func TestAddLinearity(t *testing.T) {
	f := newFolder(t)
	take := recorded(t, f, "bare", 0)
	path := filepath.Join(f.TakeDir("bare"), capture.TakeFile)
	before, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	want := capture.Linearity{LevelsDBFS: [2]float64{-12, -24}, DeviationDB: -0.31, UDB: 0.004, AtHz: 7900}
	for _, bad := range []capture.Linearity{
		{LevelsDBFS: [2]float64{-24, -12}, AtHz: 7900},
		{LevelsDBFS: [2]float64{3, -12}, AtHz: 7900},
		{LevelsDBFS: [2]float64{-12, -24}},
		{LevelsDBFS: [2]float64{-12, -24}, AtHz: 7900, DeviationDB: math.NaN()},
		{LevelsDBFS: [2]float64{-12, -24}, AtHz: 7900, UDB: math.Inf(1)},
	} {
		wantError(t, f.AddLinearity("bare", bad), "linearity")
	}
	if err := f.AddLinearity("bare", want); err != nil {
		t.Fatal(err)
	}
	after, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.HasPrefix(after, before) {
		t.Errorf("take.toml was changed:\n%s", after)
	}
	got, err := f.ReadTake("bare")
	if err != nil {
		t.Fatal(err)
	}
	take.Linearity = &want
	take.Started, got.Started = take.Started.UTC(), got.Started.UTC()
	if diff := cmp.Diff(take, got); diff != "" {
		t.Errorf("read back (-want +got):\n%s", diff)
	}
	wantError(t, f.AddLinearity("bare", want), "already")
	wantError(t, f.AddLinearity("other", want), "other")
	if again, err := os.ReadFile(path); err != nil || !bytes.Equal(after, again) {
		t.Errorf("what was refused was written: %v\n%s", err, again)
	}
}

// How far a drive is from a current source: wL = R are 3.0103 dB, and 0.1 dB is
// at wL/R = sqrt(10^0.01 - 1) = 0.15262; here at the sweep's end, 20 kHz.
func TestDriveFall(t *testing.T) {
	ohm := func(text string) *quantity.Resistance { return resistanceOf(t, text) }
	henry := func(si float64) *quantity.Inductance {
		return &quantity.Inductance{Value: quantity.Value{SI: si}}
	}
	const corner = 100 / (2 * math.Pi * 20000) // of 100 ohm at 20 kHz
	tests := []struct {
		name      string
		drive     capture.Drive
		reference string
		db        float64 // negative: not known
		corrected bool
		matters   bool
	}{
		{"nothing stated", capture.Drive{Kind: "current"}, "none", -1, false, false},
		{"no inductance stated", capture.Drive{Kind: "voltage", ExciterR: ohm("100")}, "none", -1, false, false},
		{"voltage", capture.Drive{Kind: "voltage", ExciterR: ohm("100"), ExciterL: henry(corner)}, "none", 3.0103, true,
			false},
		{"called a current", capture.Drive{Kind: "current", ExciterR: ohm("100"), ExciterL: henry(corner)}, "none",
			3.0103,
			false, true},
		{"with a loopback", capture.Drive{Kind: "current", ExciterR: ohm("100"), ExciterL: henry(corner)}, "loopback",
			3.0103, false, true},
		{"its current recorded", capture.Drive{Kind: "current", ExciterR: ohm("100"), ExciterL: henry(corner)},
			"current",
			3.0103, true, false},
		{"just a current", capture.Drive{Kind: "current", ExciterR: ohm("100"), ExciterL: henry(0.1526 * corner)},
			"none",
			0.1, false, false},
		{"not quite", capture.Drive{Kind: "current", ExciterR: ohm("100"), ExciterL: henry(0.16 * corner)}, "none",
			0.1098,
			false, true},
	}
	for _, tt := range tests {
		take := plan(t, "bare")
		take.Drive, take.Reference.Kind, take.Stimulus.ToHz = tt.drive, tt.reference, 20000
		got := take.DriveFall()
		if tt.db < 0 {
			if got != nil || got.Matters() {
				t.Errorf("%s: %+v, want none", tt.name, got)
			}
			continue
		}
		if got == nil || math.Abs(got.DB-tt.db) > 1e-4 || got.AtHz != 20000 || got.Corrected != tt.corrected ||
			got.Matters() != tt.matters {
			t.Errorf("%s: %+v, want %.4f dB, corrected %v, matters %v", tt.name, got, tt.db, tt.corrected, tt.matters)
		}
	}
}

// A recorded take carries the fall of its drive.
func TestTakeSaysItsDrive(t *testing.T) {
	f := newFolder(t)
	p := plan(t, "bare")
	p.Drive = capture.Drive{Kind: "voltage", ExciterR: resistanceOf(t, "100"),
		ExciterL: &quantity.Inductance{Value: quantity.Value{SI: 1e-3}}}
	if _, err := Run(t.Context(), mono(), f, p, Options{}); err != nil {
		t.Fatal(err)
	}
	got, err := f.ReadTake("bare")
	if err != nil {
		t.Fatal(err)
	}
	// By hand for the sweep's end at 16 kHz: wL/R = 1.00531, 10 log10(1 + 1.01065) = 3.0333 dB.
	if fall := got.Drive.Fall; fall == nil || !fall.Corrected || fall.AtHz != 16000 || math.Abs(fall.DB-3.0333) > 1e-4 {
		t.Errorf("fall %+v", fall)
	}
}
