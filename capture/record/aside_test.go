package record

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"coilsweep/capture"
)

// asides are the names of what was set aside.
func asides(t *testing.T, f *capture.Folder) (names []string) {
	t.Helper()
	list, err := f.Aside()
	if err != nil {
		t.Fatal(err)
	}
	for _, a := range list {
		if a.Err != nil || a.Of != "bare" {
			t.Errorf("set aside: %+v", a)
		}
		names = append(names, a.Name)
	}
	return names
}

func wantTakes(t *testing.T, f *capture.Folder, want ...string) {
	t.Helper()
	takes, bad := takesOf(t, f)
	if len(bad) > 0 {
		t.Fatal(bad)
	}
	var names []string
	for _, take := range takes {
		names = append(names, take.Name)
	}
	if !slices.Equal(names, want) {
		t.Errorf("takes %v, want %v", names, want)
	}
}

func TestRunSetsTheEarlierTakeAside(t *testing.T) {
	f := newFolder(t)
	first := recorded(t, f, "bare", 1)
	before := tree(t, f.TakeDir("bare"))
	second, err := Run(t.Context(), mono(), f, plan(t, "bare"), Options{Redo: true})
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(before, tree(t, f.TakeDir("bare.aside"))); diff != "" {
		t.Errorf("the earlier take was changed:\n%s", diff)
	}
	list, err := f.Aside()
	if err != nil || len(list) != 1 || list[0].Of != "bare" || !list[0].Started.Equal(first.Started) {
		t.Errorf("set aside: %+v, %v", list, err)
	}
	if got, err := f.ReadTake("bare"); err != nil || !got.Started.Equal(second.Started) {
		t.Errorf("the take is %v, %v", got.Started, err)
	}
	// Once more, by an import; and where there is nothing to be set aside.
	recording := recordingOf(t, shortStimulus(t))
	for _, name := range []string{"bare", "new"} {
		if _, err := Import(t.Context(), f, plan(t, name),
			ImportOptions{Recording: recording, Redo: true}); err != nil {
			t.Error(err)
		}
	}
	if got := asides(t, f); !slices.Equal(got, []string{"bare.aside", "bare.aside-2"}) {
		t.Errorf("set aside: %v", got)
	}
	wantTakes(t, f, "bare", "new")
}

// Only a complete take sets another aside.
func TestRunKeepsTheTakeWhereTheRedoFails(t *testing.T) {
	f := newFolder(t)
	recorded(t, f, "bare", 1)
	before := tree(t, f.TakeDir("bare"))
	bench := mono()
	bench.failAfter = oneSweep + 4800
	_, err := Run(t.Context(), bench, f, plan(t, "bare"), Options{Redo: true})
	if partial := new(PartialError); !errors.As(err, &partial) || !partial.Redo || !partial.HasSweep {
		t.Errorf("%v, want a *PartialError of a redo with a whole sweep", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Import(ctx, f, plan(t, "bare"), ImportOptions{Recording: recordingOf(t, shortStimulus(t)),
		Redo: true}); !errors.Is(err, context.Canceled) {
		t.Errorf("a cancelled import: %v", err)
	}
	if diff := cmp.Diff(before, tree(t, f.TakeDir("bare"))); diff != "" || asides(t, f) != nil {
		t.Errorf("the earlier take was touched:\n%s", diff)
	}
}

func TestSetAside(t *testing.T) {
	f := newFolder(t)
	for _, name := range []string{"bare", "../takes/bare", "", "bare.aside"} {
		if _, err := f.SetAside(name); err == nil {
			t.Errorf("%q was set aside", name)
		}
	}
	want := []string{"bare.aside", "bare.aside-2", "bare.aside-3"}
	for i, name := range want {
		recorded(t, f, "bare", i)
		if got, err := f.SetAside("bare"); got != name || err != nil {
			t.Errorf("set aside as %q, %v, want %q", got, err, name)
		}
	}
	wantTakes(t, f)
	if got := asides(t, f); !slices.Equal(got, want) {
		t.Errorf("set aside: %v", got)
	}
	if partials, err := f.Partials(); partials != nil || err != nil {
		t.Errorf("unfinished: %v, %v", partials, err)
	}
	// A rename undoes it.
	if err := os.Rename(f.TakeDir("bare.aside-2"), f.TakeDir("bare")); err != nil {
		t.Fatal(err)
	}
	wantTakes(t, f, "bare")
	// A take that cannot be read can be set aside, too, and is listed.
	if err := os.WriteFile(filepath.Join(f.TakeDir("bare"), capture.TakeFile), nil, 0o666); err != nil {
		t.Fatal(err)
	}
	name, err := f.SetAside("bare")
	if err != nil {
		t.Fatal(err)
	}
	list, err := f.Aside()
	if err != nil || len(list) != 3 || list[1].Name != name || list[1].Err == nil {
		t.Errorf("set aside: %+v, %v", list, err)
	}
}

// The takes of a redo are told apart by who made them.
const oldMaker, newMaker = "coilsweep test", "coilsweep redo"

// redo is the child of TestRedoKilled: it says "done", or where the recording is.
func redo(dir, recording string) {
	runtime.LockOSThread() // calls are counted by thread
	f, err := capture.OpenFolder(dir)
	if err != nil {
		fmt.Println(err)
		return
	}
	take := plan(new(testing.T), "c220")
	take.Program = newMaker
	take.Audio.File = os.Getenv("COILSWEEP_TEST_AUDIO")
	if recording != "" {
		_, err = Import(context.Background(), f, take, ImportOptions{Recording: recording, Redo: true})
	} else {
		_, err = Run(context.Background(), mono(), f, take, Options{Redo: true})
	}
	switch partial, unconfirmed := new(PartialError), new(capture.UnconfirmedError); {
	case errors.As(err, &partial):
		fmt.Println("kept in " + partial.Dir)
	case err == nil, errors.As(err, &unconfirmed):
		fmt.Println("done")
	default:
		fmt.Println(err)
	}
}

// Before it exchanged folders, the program could be stopped between two renames: then
// the name led to nothing, and the whole new take lay in a folder of its own.
func TestMend(t *testing.T) {
	for _, in := range []string{".import-123", "bare.partial", "bare.partial-2"} {
		f := newFolder(t)
		recorded(t, f, "bare", 1)
		if _, err := f.SetAside("bare"); err != nil {
			t.Fatal(err)
		}
		if said := capture.Mend(f.Dir); said != nil {
			t.Errorf("a take that was set aside: %q", said)
		}
		second := recorded(t, f, "bare", 2)
		if err := os.Rename(f.TakeDir("bare"), f.TakeDir(in)); err != nil {
			t.Fatal(err)
		}
		said := capture.Mend(f.Dir)
		if len(said) != 1 || !strings.Contains(said[0], "take bare was complete") {
			t.Errorf("%s: said %q", in, said)
		}
		if got, err := f.ReadTake("bare"); err != nil || !got.Started.Equal(second.Started) {
			t.Errorf("%s: the take is %v, %v", in, got.Started, err)
		}
		if got := asides(t, f); !slices.Equal(got, []string{"bare.aside"}) {
			t.Errorf("%s: set aside: %v", in, got)
		}
	}
}

// What a stopped program left goes, and is named, once nothing was written to it for a
// while; nothing else goes.
func TestMendClears(t *testing.T) {
	f := newFolder(t)
	recorded(t, f, "bare", 1)
	before := tree(t, f.Dir)
	left := []string{".upload-1/rec.wav", ".result.json.ABC.tmp", "takes/.import-1/capture.wav",
		"takes/bare/.take.toml.ABC.tmp", "../.bench.toml.ABC.tmp"}
	for _, name := range left {
		path := filepath.Join(f.Dir, filepath.FromSlash(name))
		if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o777), os.WriteFile(path, nil, 0o666)); err != nil {
			t.Fatal(err)
		}
	}
	if said := capture.Mend(f.Dir); said != nil {
		t.Errorf("what may be in use: %q", said)
	}
	for _, name := range left {
		at := time.Now().Add(-time.Hour)
		path := filepath.Join(f.Dir, filepath.FromSlash(name))
		if err := errors.Join(os.Chtimes(path, at, at), os.Chtimes(filepath.Dir(path), at, at)); err != nil {
			t.Fatal(err)
		}
	}
	said := strings.Join(capture.Mend(f.Dir), "\n")
	for _, name := range left {
		name, _, _ = strings.Cut(strings.Replace(name, "-1/", "-1|", 1), "|")
		if !strings.Contains(said, "removed "+filepath.Join(f.Dir, filepath.FromSlash(name))+",") {
			t.Errorf("%s is not named: %q", name, said)
		}
	}
	if diff := cmp.Diff(before, tree(t, f.Dir)); diff != "" {
		t.Errorf("the folder (-before +after):\n%s", diff)
	}
}

// What lies above several coils goes too, and is named once.
func TestMendAbove(t *testing.T) {
	root, at := t.TempDir(), time.Now().Add(-time.Hour)
	var dirs []string
	for _, name := range []string{"shop/neck", "shop/bridge", "other/neck"} {
		dir := filepath.Join(root, filepath.FromSlash(name))
		dirs = append(dirs, dir)
		left := filepath.Join(filepath.Dir(dir), ".bench.toml.ABC.tmp")
		if err := errors.Join(capture.CreateFolder(dir, capture.Coil{Name: "A"}), os.WriteFile(left, nil, 0o666),
			os.Chtimes(left, at, at)); err != nil {
			t.Fatal(err)
		}
	}
	said := capture.Mend(dirs...)
	if len(said) != 2 || !strings.Contains(said[0], filepath.Join("shop", ".bench.toml")) ||
		!strings.Contains(said[1], filepath.Join("other", ".bench.toml")) {
		t.Errorf("said %q", said)
	}
}

// What was set aside is a take again, unless another has its name.
func TestTakeBack(t *testing.T) {
	f := newFolder(t)
	importInto(t, f)
	before := tree(t, f.Dir)
	aside, err := f.SetAside("bare")
	if err != nil {
		t.Fatal(err)
	}
	if err := f.TakeBack(aside); err != nil {
		t.Fatal(err)
	}
	if after := tree(t, f.Dir); !cmp.Equal(after, before) {
		t.Errorf("there is %v, was %v", after, before)
	}
	if _, err := f.SetAside("bare"); err != nil {
		t.Fatal(err)
	}
	importInto(t, f)
	if err := f.TakeBack(aside); !errors.Is(err, capture.ErrTakeExists) {
		t.Errorf("over a take: %v", err)
	}
	for _, name := range []string{"bare", "../x.aside", "none.aside", ".aside"} {
		if f.TakeBack(name) == nil {
			t.Errorf("%s was taken back", name)
		}
	}
}

func importInto(t *testing.T, f *capture.Folder) {
	t.Helper()
	if _, err := Import(t.Context(), f, plan(t, "bare"), ImportOptions{Recording: recordingOf(t, shortStimulus(t))}); err != nil {
		t.Fatal(err)
	}
}
