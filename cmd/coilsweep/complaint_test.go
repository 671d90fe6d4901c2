package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"coilsweep/capture"
	"coilsweep/capture/record"
)

// An interruption is one line, whatever number of takes was under way, and
// leaves nothing behind.
func TestInterruptionIsOneLine(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "coil")
	do := func(ctx context.Context, args ...string) (int, string) {
		var out, errs bytes.Buffer
		status := run(ctx, args, strings.NewReader(""), &out, &errs)
		return status, errs.String()
	}
	for _, args := range [][]string{
		{"new", dir},
		{"measure", dir, "--take", "bare", "--bench", "virtual", "--duration", "0.35s", "--repeats", "1"},
		{"measure", dir, "--take", "c470", "--added-c", "470p", "--bench", "virtual", "--duration", "0.35s", "--repeats", "1"},
	} {
		if status, said := do(t.Context(), args...); status != exitDone {
			t.Fatalf("%v: status %d: %s", args, status, said)
		}
	}
	ended, end := context.WithCancel(t.Context())
	end()
	recording := filepath.Join(dir, "takes", "bare", "capture.wav")
	stimulus := filepath.Join(t.TempDir(), "sweep.wav")
	if status, said := do(t.Context(), "stimulus", stimulus, "--duration", "0.35s", "--repeats", "1"); status != exitDone {
		t.Fatal(said)
	}
	for _, args := range [][]string{
		{"fit", dir}, {"report", dir}, {"crosscheck", dir}, {"predict", dir},
		{"plot", dir, "--out", filepath.Join(dir, "x.svg")},
		{"import", dir, "--take", "x", "--stimulus", strings.TrimSuffix(stimulus, ".wav") + ".toml", "--recording", recording},
	} {
		status, said := do(ended, args...)
		if want := "coilsweep: interrupted; nothing was written\n"; status != exitFail || said != want {
			t.Errorf("%s: status %d, %q; want %d, %q", args[0], status, said, exitFail, want)
		}
	}
	for _, name := range []string{"result.json", "response.csv", "report.html", "x.svg", "takes/x"} {
		if _, err := os.Lstat(filepath.Join(dir, name)); err == nil {
			t.Errorf("%s was written", name)
		}
	}
}

// A recording that was interrupted says what is kept.
func TestPartialRecordingSpeaksForItself(t *testing.T) {
	err := &record.PartialError{Dir: "bridge/takes/bare.partial", Seconds: 3, Err: context.Canceled}
	if got := plainly(fmt.Errorf("%w", err)).Error(); !strings.Contains(got, "kept in bridge/takes/bare.partial") {
		t.Error(got)
	}
}

// Clipping and lost samples are told apart, and both from what a device merely
// reports.
func TestAdviceNamesTheCause(t *testing.T) {
	for _, tt := range []struct {
		flag    capture.Flag
		quality capture.Quality
		want    string
	}{
		{capture.ClippedRepeat, capture.Quality{DamagedRepeats: []int{1}, ClippedRepeats: []int{1}}, "overdrove the input"},
		{capture.Dropout, capture.Quality{DamagedRepeats: []int{2}}, "the damaged sweeps are left out"},
		{capture.Dropout, capture.Quality{DamagedRepeats: []int{1, 2}, ClippedRepeats: []int{1}}, "the damaged sweeps are left out"},
		{capture.Dropout, capture.Quality{DamagedRepeats: []int{1}, ClippedRepeats: []int{1}, Xruns: make([]capture.Xrun, 3)}, "(3 times), but no sweep misses any"},
		{capture.Dropout, capture.Quality{Xruns: make([]capture.Xrun, 1)}, "none is left out for that"},
	} {
		if got := adviceOn(tt.flag, tt.quality); !strings.Contains(got, tt.want) {
			t.Errorf("%s of %+v: %q, want %q", tt.flag, tt.quality, got, tt.want)
		}
	}
}
