package cli

import (
	"context"
	"io"
	"io/fs"
	"path/filepath"
	"strings"
	"testing"

	"coilsweep/fit/evaluation"
)

// stopAt cancels when what is written holds a text.
type stopAt struct {
	text string
	stop context.CancelFunc
	said strings.Builder
}

func (s *stopAt) Write(b []byte) (int, error) {
	s.said.Write(b)
	if strings.Contains(s.said.String(), s.text) {
		s.stop()
	}
	return len(b), nil
}

// A run over many coils that is interrupted says so, leaves whole files only,
// and goes on where it stopped.
func TestFitAllInterrupted(t *testing.T) {
	root := t.TempDir()
	must := func(args ...string) string {
		t.Helper()
		var out, err strings.Builder
		if status := Run(t.Context(), args, nil, &out, &err); status != exitDone {
			t.Fatalf("%q: status %d\n%s", args, status, err.String())
		}
		return out.String()
	}
	sweep := filepath.Join(root, "sweep")
	must("stimulus", sweep+".wav", "--duration", "0.35s", "--repeats", "1")
	const coils = 6
	for i := range coils {
		dir := filepath.Join(root, "coils", string(rune('a'+i)))
		must("new", dir)
		must("measure", dir, "--take", "bare", "--bench", "virtual", "--stimulus", sweep+".toml")
	}
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	err := &stopAt{text: "coils: 2 of 6", stop: stop}
	args := []string{"fit", "--all", filepath.Join(root, "coils"), "--model", "loss-free"}
	if status := Run(ctx, args, nil, io.Discard, err); status != exitFail ||
		!strings.Contains(err.said.String(), "interrupted: ") ||
		!strings.Contains(err.said.String(), "run it again to go on") {
		t.Fatalf("status %d\n%s", status, err.said.String())
	}
	written := 0
	walk := filepath.WalkDir(root, func(path string, _ fs.DirEntry, err error) error {
		if strings.HasSuffix(path, ".tmp") {
			t.Errorf("%s was left behind", path)
		}
		if filepath.Base(path) == "result.json" {
			written++
			if r, err := evaluation.Load(filepath.Dir(path)); err != nil || r.Record == nil {
				t.Errorf("%s is not whole: %v", path, err)
			}
		}
		return err
	})
	if walk != nil {
		t.Fatal(walk)
	}
	if written < 2 || written == coils {
		t.Fatalf("%d results when interrupted after the second of %d", written, coils)
	}
	if got := must(args...); !strings.Contains(got, "up to date") || !strings.Contains(got, "fitted") {
		t.Errorf("the second run says %q", got)
	}
	if got := must(args...); got != "6 coils: 6 up to date\n" {
		t.Errorf("the third run says %q", got)
	}
}
