package capture

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// coilTree makes empty coil folders and other files below a new folder.
func coilTree(t *testing.T, coils []string, others ...string) string {
	t.Helper()
	root := t.TempDir()
	for _, dir := range coils {
		if err := CreateFolder(filepath.Join(root, dir), Coil{Name: "invented"}); err != nil {
			t.Fatal(err)
		}
	}
	for _, path := range others {
		path = filepath.Join(root, path)
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte("x"), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	return root
}

func TestFindFolders(t *testing.T) {
	root := coilTree(t, []string{"b/neck", "b/bridge", "a", "b/takes/inside", ".hidden/coil", "b/bridge/below"},
		"b/bridge/takes/bare/coil.toml", // no coil: a take that somebody put a file into
		"notes/coil.toml.bak", "notes/readme")
	found, unreadable, err := FindFolders(t.Context(), root)
	if err != nil || unreadable != nil {
		t.Fatal(err, unreadable)
	}
	var got []string
	for _, dir := range found {
		rel, err := filepath.Rel(root, dir)
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, filepath.ToSlash(rel))
	}
	slices.Sort(got)
	want := []string{"a", "b/bridge", "b/bridge/below", "b/neck", "b/takes/inside"}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("folders (-want +got):\n%s", diff)
	}

	self, _, err := FindFolders(t.Context(), filepath.Join(root, "a"))
	if err != nil || len(self) != 1 {
		t.Errorf("a coil folder itself: %v, %v", self, err)
	}
}

func TestFindFoldersErrors(t *testing.T) {
	root := coilTree(t, []string{"a"}, "file")
	if _, _, err := FindFolders(t.Context(), filepath.Join(root, "nowhere")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a folder that is not there: %v", err)
	}
	if _, _, err := FindFolders(t.Context(), filepath.Join(root, "file")); err == nil ||
		!strings.Contains(err.Error(), "it is a file") {
		t.Errorf("a file as root: %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, _, err := FindFolders(ctx, root); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
	if os.Getuid() > 0 { // root reads everything; Windows has no users of this kind
		shut := filepath.Join(root, "shut")
		if err := os.Mkdir(shut, 0); err != nil {
			t.Fatal(err)
		}
		dirs, unreadable, err := FindFolders(t.Context(), root)
		if err != nil || len(unreadable) != 1 || len(dirs) != 1 {
			t.Errorf("an unreadable folder: %v, %v, %v", dirs, unreadable, err)
		}
	}
}

// The checksums are those of sha256sum(1) of GNU coreutils over the file "x"
// and over nothing (FIPS 180-4 has the latter's too).
func TestFingerprint(t *testing.T) {
	root := coilTree(t, []string{"a"}, "a/takes/two/take.toml", "a/takes/one/take.toml", "a/takes/empty/other",
		"a/takes/three.partial/take.toml")
	if err := os.WriteFile(filepath.Join(root, "a/takes/one/take.toml"), nil, 0o666); err != nil {
		t.Fatal(err)
	}
	folder, err := OpenFolder(filepath.Join(root, "a"))
	if err != nil {
		t.Fatal(err)
	}
	before, err := folder.Fingerprint()
	if err != nil {
		t.Fatal(err)
	}
	want := []TakeFingerprint{
		{"empty", ""},
		{"one", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"},
		{"two", "2d711642b726b04401627ca9fbac32f5c8530fb1903cc4db02258717921a4881"},
	}
	if diff := cmp.Diff(want, before.Takes); diff != "" {
		t.Errorf("takes (-want +got):\n%s", diff)
	}
	if err := os.WriteFile(filepath.Join(folder.Dir, "coil.toml"), []byte("name = 'other'"), 0o666); err != nil {
		t.Fatal(err)
	}
	after, err := folder.Fingerprint()
	if err != nil || after.CoilSHA256 == before.CoilSHA256 {
		t.Errorf("an edited coil.toml has the same checksum (error %v)", err)
	}
}

func TestReadSurvey(t *testing.T) {
	root := coilTree(t, []string{"a"}, "a/takes/one/take.toml", "a/takes/two/take.toml", "a/takes/six/none")
	dir := filepath.Join(root, "a")
	write := func(text string) {
		t.Helper()
		if err := os.WriteFile(filepath.Join(dir, "takes/one/take.toml"), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	at := time.Date(2026, 3, 1, 10, 20, 30, 0, time.UTC)
	started, flags := "started = 2026-03-01T10:20:30Z\n", "flags = [\"hum\", \"drift\"]\n"
	for _, text := range []string{
		started + "program = \"any\"\n[quality]\n" + flags,
		started + "[audio]\nfile = \"\"\n[quality]\n" + flags + "[[quality.xruns]]\nframe = 3\n[stimulus]\nrate = 3\n",
		// Edited by hand.
		strings.ReplaceAll(started+"[audio]\n[quality]\n"+flags+"[stimulus]\n", "\n", "\r\n"),
		started + "note = \"\"\"\n[ \"\"\"\n  [ quality ]\n" + flags,
		started + "note = \"\"\"\n[quality]\nflags = [\"clipped\"]\n\"\"\"\n[audio]\n[quality]\n" + flags,
		started + "quality.flags = [\n\"hum\",\n\"drift\"]\n[audio]\n[stimulus]\n",
	} {
		write(text)
		got, err := ReadSurvey(dir, Remembered{})
		if err != nil {
			t.Fatal(err)
		}
		folder, err := OpenFolder(dir)
		if err != nil {
			t.Fatal(err)
		}
		held, err := folder.Fingerprint()
		if err != nil || got.Coil != folder.Coil.Name || !held.Equal(got.Held) || len(held.Takes) != 3 {
			t.Fatalf("%+v; it is %q, %+v, %v", got, folder.Coil.Name, held, err)
		}
		if diff := cmp.Diff(TakeHeading{Started: at, Flags: []Flag{Hum, Drift}}, got.Headings[0]); diff != "" {
			t.Errorf("heading in %q (-want +got):\n%s", text, diff)
		}
		for i, name := range []string{"six", "two"} {
			if h := got.Headings[i+1]; held.Takes[i+1].Name != name || h.Err == nil {
				t.Errorf("heading of take %q: %+v", name, h)
			}
		}
	}

	// What is remembered is told by its checksum alone; what has another is read.
	first, _ := ReadSurvey(dir, Remembered{})
	of := Remembered{CoilSHA256: first.Held.CoilSHA256, Coil: CoilHeading{Coil: "remembered"},
		Take: func(h TakeFingerprint) (TakeHeading, bool) {
			return TakeHeading{Started: at.Add(time.Hour)}, h == first.Held.Takes[0]
		}}
	if got, err := ReadSurvey(dir, of); err != nil || got.Coil != "remembered" ||
		!got.Headings[0].Started.Equal(at.Add(time.Hour)) {
		t.Errorf("remembered: %+v, %v", got, err)
	}
	write(started)
	text, err := os.ReadFile(filepath.Join(dir, "coil.toml"))
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, "coil.toml"), append(text, '\n'), 0o666)
	}
	if err != nil {
		t.Fatal(err)
	}
	if got, err := ReadSurvey(dir, of); err != nil || got.Coil == "remembered" || !got.Headings[0].Started.Equal(at) {
		t.Errorf("changed: %+v, %v", got, err)
	}
}
