package record

import (
	"fmt"
	"io/fs"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"coilsweep/capture"
)

// fileChanges are the system calls by which a program makes, names and removes files.
// What openat makes is empty until the next of them.
var fileChanges = []string{"mkdirat", "renameat", "renameat2", "unlinkat", "fsync", "fchmodat", "ftruncate",
	"pwrite64"}

// TestRedoKilled kills a redo at every call that changes a file, where two folders can
// be exchanged and where they cannot, and lets every sync fail. Whatever happens, the
// next opening of the folder finds the name on a whole take, old or new, and the old
// take; what was recorded is where it is said to be.
func TestRedoKilled(t *testing.T) {
	if testing.Short() {
		t.Skip("some 150 child processes")
	}
	t.Parallel()
	before := newFolder(t)
	recorded(t, before, "c220", 1)
	recording := recordingOf(t, shortStimulus(t))
	for _, way := range []struct{ of, audio string }{{}, {of: recording}, {recording, capture.FLACFile}} {
		of := way.of // empty: measure; else import
		for _, faults := range [][]string{nil, {"renameat2:error=EINVAL"}} {
			run := func(more ...string) (*capture.Folder, string, map[string]int) {
				return redoUnder(t, before.Dir, of, way.audio, append(slices.Clone(faults), more...))
			}
			f, said, calls := run()
			if said != "done" {
				t.Fatalf("undisturbed: %s", said)
			}
			wantRedone(t, f, "undisturbed", said, true)
			if calls["renameat"] < 3 || calls["fsync"] < 4 || calls["renameat2"] != 1 {
				t.Fatalf("calls seen: %v", calls)
			}
			for _, call := range slices.Sorted(maps.Keys(calls)) {
				step := 1
				if call == "pwrite64" {
					step = 9 // one block of audio is like another
				}
				for n := 1; n <= calls[call]; n += step {
					kill := fmt.Sprintf("%s:signal=SIGKILL:when=%d", call, n)
					if call == "renameat2" && faults != nil {
						continue // it fails anyhow: no change
					}
					f, said, _ := run(kill)
					if said != "" {
						t.Errorf("%s: it was not killed: %s", kill, said)
					}
					wantRedone(t, f, fmt.Sprintf("import %v, %v", of != "", append(faults, kill)), said, of != "")
					if call == "fsync" || call == "renameat" {
						fail := fmt.Sprintf("%s:error=EIO:when=%d", call, n)
						f, said, _ := run(fail)
						wantRedone(t, f, fmt.Sprintf("import %v, %v", of != "", append(faults, fail)), said, of != "")
					}
				}
			}
		}
	}
}

// redoUnder redoes take c220 in a copy of a folder, with faults injected into its
// system calls. It returns what the child said and how often it made each call.
func redoUnder(t *testing.T, dir, recording, audio string, faults []string) (*capture.Folder, string, map[string]int) {
	t.Helper()
	at := filepath.Join(t.TempDir(), "bridge")
	if err := os.CopyFS(at, os.DirFS(dir)); err != nil {
		t.Fatal(err)
	}
	log := filepath.Join(t.TempDir(), "calls")
	args := []string{"-f", "-qq", "-o", log, "-e", "trace=" + strings.Join(fileChanges, ",")}
	for _, f := range faults {
		args = append(args, "-e", "inject="+f)
	}
	cmd := exec.CommandContext(t.Context(), "strace", append(args, os.Args[0])...)
	cmd.Env = append(os.Environ(), "COILSWEEP_TEST_REDO_IN="+at, "COILSWEEP_TEST_RECORDING="+recording,
		"COILSWEEP_TEST_AUDIO="+audio)
	out, _ := cmd.CombinedOutput() // the end of one that is killed
	text, err := os.ReadFile(log)
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	calls := map[string]int{}
	for line := range strings.Lines(string(text)) {
		_, call, _ := strings.Cut(line, " ")
		call, _, _ = strings.Cut(strings.TrimLeft(call, " "), "(")
		if slices.Contains(fileChanges, call) {
			calls[call]++
		}
	}
	return &capture.Folder{Dir: at}, strings.TrimSpace(string(out)), calls
}

// wantRedone wants the folder whole after a redo that may have been stopped.
func wantRedone(t *testing.T, f *capture.Folder, when, said string, imported bool) {
	t.Helper()
	capture.Mend(f.Dir)
	ageAll(t, f.Dir)
	mended := capture.Mend(f.Dir)
	if again := capture.Mend(f.Dir); len(again) > 0 {
		t.Errorf("%s: mended %q, and then %q", when, mended, again)
	}
	now, err := f.ReadTake("c220")
	if err == nil {
		err = f.CheckAudio(now)
	}
	if err != nil {
		t.Errorf("%s: the name is lost: %v; it said %q", when, err, said)
		return
	}
	if recordings, _ := filepath.Glob(filepath.Join(f.TakeDir("c220"), "capture.*")); len(recordings) != 1 {
		t.Errorf("%s: the take has %q", when, recordings)
	}
	aside, _ := f.Aside()
	if now.Program == newMaker && (len(aside) != 1 || aside[0].Err != nil || aside[0].Name != "c220.aside") ||
		now.Program == oldMaker && len(aside) != 0 {
		t.Errorf("%s: the take is by %s, aside are %+v", when, now.Program, aside)
	}
	if said == "done" && now.Program != newMaker {
		t.Errorf("%s: done, but the take is the old one", when)
	}
	partials, _ := f.Partials()
	if dir, ok := strings.CutPrefix(said, "kept in "); ok && !slices.Contains(partials, dir) {
		t.Errorf("%s: it said %q, unfinished are %q", when, said, partials)
	}
	for path := range tree(t, f.Dir) {
		if name := filepath.Base(strings.TrimSuffix(path, "/")); strings.HasPrefix(name, ".") && name != "." ||
			strings.HasSuffix(name, ".next") || strings.HasSuffix(name, ".tmp") {
			t.Errorf("%s: %s is left", when, path)
		}
	}
}

// ageAll makes everything below dir an hour old.
func ageAll(t *testing.T, dir string) {
	t.Helper()
	at := time.Now().Add(-time.Hour)
	if err := filepath.WalkDir(dir, func(path string, _ fs.DirEntry, err error) error {
		if err == nil {
			err = os.Chtimes(path, at, at)
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
}
