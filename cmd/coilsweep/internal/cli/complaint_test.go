package cli

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/spf13/cobra"

	"coilsweep/capture/fault"
	"coilsweep/capture/record"
)

// An interruption is one line, whatever number of takes was under way, and
// leaves nothing behind.
func TestInterruptionIsOneLine(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "coil")
	do := func(ctx context.Context, args ...string) (int, string) {
		var out, errs bytes.Buffer
		status := Run(ctx, args, strings.NewReader(""), &out, &errs)
		return status, errs.String()
	}
	for _, args := range [][]string{
		{"new", dir},
		{"measure", dir, "--take", "bare", "--bench", "virtual", "--duration", "0.35s", "--repeats", "1"},
		{"measure", dir, "--take", "c470", "--added-c", "470p", "--bench", "virtual", "--duration", "0.35s",
			"--repeats", "1"},
	} {
		if status, said := do(t.Context(), args...); status != exitDone {
			t.Fatalf("%v: status %d: %s", args, status, said)
		}
	}
	ended, end := context.WithCancel(t.Context())
	end()
	recording := filepath.Join(dir, "takes", "bare", "capture.wav")
	stimulus := filepath.Join(t.TempDir(), "sweep.wav")
	if status, said := do(t.Context(), "stimulus", stimulus, "--duration", "0.35s", "--repeats",
		"1"); status != exitDone {
		t.Fatal(said)
	}
	for _, args := range [][]string{
		{"fit", dir}, {"report", dir}, {"crosscheck", dir}, {"predict", dir},
		{"plot", dir, "--out", filepath.Join(dir, "x.svg")},
		{"import", dir, "--take", "x", "--stimulus", strings.TrimSuffix(stimulus, ".wav") + ".toml", "--recording",
			recording},
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

// A panic of a command is one sentence and status 1; where it came from is told on
// request.
func TestFaultIsOneSentence(t *testing.T) {
	for _, verbose := range []bool{false, true} {
		var out, errs bytes.Buffer
		c := &console{out: &out, err: &errs}
		root, args := newRoot(c), []string{"break"}
		root.AddCommand(c.command(&cobra.Command{Use: "break", RunE: func(*cobra.Command, []string) error {
			fault.Parallel(2, func() { panic("the pen broke") })
			return nil
		}}))
		if verbose {
			args = append(args, "--verbose")
		}
		status := c.run(t.Context(), root, args, strings.NewReader(""), &out, &errs)
		said, trace, _ := strings.Cut(errs.String(), "\n")
		want := "coilsweep: 'coilsweep break' broke off by a fault of the program: the pen broke (--verbose shows where)"
		if status != exitFail || said != want {
			t.Errorf("status %d, %q; want %d, %q", status, said, exitFail, want)
		}
		if strings.Contains(trace, "TestFaultIsOneSentence") != verbose || !verbose && trace != "" {
			t.Errorf("verbose %v: trace %q", verbose, trace)
		}
	}
}

// A recording that was interrupted says what is kept.
func TestPartialRecordingSpeaksForItself(t *testing.T) {
	err := &record.PartialError{Dir: "bridge/takes/bare.partial", Seconds: 3, Err: context.Canceled}
	if got := complaint(fmt.Errorf("%w", err)); !strings.Contains(got, "kept in bridge/takes/bare.partial") {
		t.Error(got)
	}
	err.HasSweep, err.Folder, err.Take, err.Redo = true, "my bridge", "bare", true
	want := "use it with 'coilsweep import \"my bridge\" --take bare --redo --stimulus " +
		filepath.Join("bridge", "takes", "bare.partial", "stimulus.toml")
	if got := complaint(err); !strings.Contains(got, want) {
		t.Errorf("%q lacks %q", got, want)
	}
}
