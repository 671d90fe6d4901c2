package record

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"coilsweep/capture"
)

// wantError checks that err is one sentence that holds all parts.
func wantError(t *testing.T, err error, parts ...string) {
	t.Helper()
	if err == nil {
		t.Fatalf("no error, want one with %q", parts)
	}
	for _, part := range parts {
		if !strings.Contains(err.Error(), part) {
			t.Errorf("error %q lacks %q", err, part)
		}
	}
	if strings.Contains(err.Error(), "\n") {
		t.Errorf("error has several lines: %q", err)
	}
}

// tree lists all files under dir with their content.
func tree(t testing.TB, dir string) map[string]string {
	t.Helper()
	files := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, _ := filepath.Rel(dir, path)
		rel = filepath.ToSlash(rel)
		if d.IsDir() {
			files[rel+"/"] = ""
			return nil
		}
		data, err := os.ReadFile(path)
		files[rel] = string(data)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}

func TestCreateFolderTwice(t *testing.T) {
	f := newFolder(t)
	if diff := cmp.Diff(someCoil(t), f.Coil); diff != "" {
		t.Errorf("coil (-want +got):\n%s", diff)
	}
	before := tree(t, f.Dir)
	err := capture.CreateFolder(f.Dir, capture.Coil{Name: "other"})
	if !errors.Is(err, capture.ErrFolderExists) {
		t.Errorf("error %v, want ErrFolderExists", err)
	}
	wantError(t, err, f.Dir)
	if diff := cmp.Diff(before, tree(t, f.Dir)); diff != "" {
		t.Errorf("the folder changed:\n%s", diff)
	}
}

func TestCreateFolderErrors(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "file")
	if err := os.WriteFile(file, nil, 0o666); err != nil {
		t.Fatal(err)
	}
	wantError(t, capture.CreateFolder(filepath.Join(file, "coil"), capture.Coil{Name: "neck"}),
		"cannot make coil folder", file)
	wantError(t, capture.CreateFolder(filepath.Join(dir, "unnamed"), capture.Coil{}), "the coil has no name")
	if _, err := os.Stat(filepath.Join(dir, "unnamed")); err == nil {
		t.Error("a folder was made for a coil without name")
	}
}

func TestOpenFolderThatIsNone(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "file")
	if err := os.WriteFile(file, nil, 0o666); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{dir, filepath.Join(dir, "missing"), file} {
		_, err := capture.OpenFolder(path)
		if !errors.Is(err, capture.ErrNotFolder) {
			t.Errorf("%s: error %v, want ErrNotFolder", path, err)
		}
		wantError(t, err, path+" is not a coil folder")
	}
	if err := os.WriteFile(filepath.Join(dir, "coil.toml"), []byte("schema = \"coilsweep.coil/1\"\nnam = \"x\"\n"),
		0o666); err != nil {
		t.Fatal(err)
	}
	_, err := capture.OpenFolder(dir)
	wantError(t, err, filepath.Join(dir, "coil.toml")+": line 2:", `"nam"`)
}

func TestCheckTakeName(t *testing.T) {
	for _, name := range []string{"bare", "C470p_2", "7", "-", strings.Repeat("x", 64)} {
		if err := capture.CheckTakeName(name); err != nil {
			t.Errorf("%q: %v", name, err)
		}
	}
	for _, name := range []string{"", ".", "..", "a.partial", "a/b", `a\b`, "a b", "ä", "a\x00", "a\n",
		strings.Repeat("x", 65)} {
		if err := capture.CheckTakeName(name); err == nil {
			t.Errorf("%q: no error", name)
		}
	}
}

// record makes a take called name, started at a given minute.
func recorded(t testing.TB, f *capture.Folder, name string, minute int) capture.Take {
	t.Helper()
	take, err := Run(t.Context(), mono(), f, plan(t, name), Options{})
	if err != nil {
		t.Fatal(err)
	}
	take.Started = time.Date(2026, 1, 2, 3, minute, 0, 0, time.UTC)
	rewrite(t, f, take)
	return take
}

// rewrite replaces the take.toml of a take.
func rewrite(t testing.TB, f *capture.Folder, take capture.Take) {
	t.Helper()
	data, err := capture.EncodeTake(take)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(f.TakeDir(take.Name), capture.TakeFile), data, 0o666); err != nil {
		t.Fatal(err)
	}
}

// takesOf reads all takes of a folder.
func takesOf(t *testing.T, f *capture.Folder) ([]capture.Take, []capture.UnreadableTake) {
	t.Helper()
	held, err := f.Fingerprint()
	if err != nil {
		t.Fatal(err)
	}
	return f.Takes(held, nil)
}

func TestTakesInOrderOfTime(t *testing.T) {
	f := newFolder(t)
	if takes, bad := takesOf(t, f); len(takes)+len(bad) > 0 {
		t.Errorf("empty folder: %v, %v", takes, bad)
	}
	recorded(t, f, "a-last", 30)
	first := recorded(t, f, "z-first", 10)
	recorded(t, f, "m-middle", 20)
	for _, name := range []string{"x.partial", "x.partial-2", ".import-123", "empty", "garbled"} {
		if err := os.MkdirAll(f.TakeDir(name), 0o777); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(filepath.Join(f.TakeDir("garbled"), capture.TakeFile), []byte("schema = 1\n"),
		0o666); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(f.TakeDir("notes"), []byte("a stray file"), 0o666); err != nil {
		t.Fatal(err)
	}

	takes, bad := takesOf(t, f)
	var names []string
	for _, take := range takes {
		names = append(names, take.Name)
	}
	if diff := cmp.Diff([]string{"z-first", "m-middle", "a-last"}, names); diff != "" {
		t.Errorf("takes (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff(first, takes[0]); diff != "" {
		t.Errorf("take read back (-want +got):\n%s", diff)
	}
	if len(bad) != 2 {
		t.Fatalf("unreadable takes: %v, want 2", bad)
	}
	wantError(t, bad[0].Err, `no take "empty"`)
	wantError(t, bad[1].Err, f.TakeDir("garbled"), "line 1")
	partials, err := f.Partials()
	if diff := cmp.Diff([]string{f.TakeDir("x.partial"), f.TakeDir("x.partial-2")}, partials); diff != "" ||
		err != nil {
		t.Errorf("partials: %v %s", err, diff)
	}
}

func TestReadTakeRefuses(t *testing.T) {
	f := newFolder(t)
	good := recorded(t, f, "bare", 1)
	tests := []struct {
		name string
		edit func(*capture.Take)
		want string
	}{
		{"another name", func(t *capture.Take) { t.Name = "other" }, `calls itself "other"`},
		{"another schema", func(t *capture.Take) { t.Schema = "coilsweep.take/9" }, "coilsweep.take/9"},
		{"audio elsewhere", func(t *capture.Take) { t.Audio.File = "../../coil.toml" }, "audio file is"},
		{"changed stimulus", func(t *capture.Take) { t.Stimulus.LevelDBFS = -3 }, "checksum"},
		{"huge stimulus", func(t *capture.Take) { t.Stimulus.Repeats = 1 << 40 }, "repeats"},
		{"another rate", func(t *capture.Take) { t.Audio.RateHz = 44100 }, "audio at 44100 Hz"},
		{"no reference channel", func(t *capture.Take) { t.Reference.Kind = "current" }, "too few"},
		{"unknown drive", func(t *capture.Take) { t.Drive.Kind = "steam" }, `"steam"`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			take := good
			tt.edit(&take)
			data, err := capture.EncodeTake(take)
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(f.TakeDir("bare"), capture.TakeFile), data, 0o666); err != nil {
				t.Fatal(err)
			}
			_, err = f.ReadTake("bare")
			wantError(t, err, tt.want, filepath.Join(f.TakeDir("bare"), capture.TakeFile))
		})
	}
	_, err := f.ReadTake("../coil")
	wantError(t, err, "use letters")
}

func TestAudioKnowsWhetherItWasChanged(t *testing.T) {
	f := newFolder(t)
	take := recorded(t, f, "bare", 1)
	r, err := f.Audio(take)
	if err != nil {
		t.Fatal(err)
	}
	if r.RateHz != 48000 || len(r.Samples) != 1 || int64(r.Frames()) != take.Audio.Frames {
		t.Errorf("audio: %d Hz, %d channels, %d frames", r.RateHz, len(r.Samples), r.Frames())
	}
	path := filepath.Join(f.TakeDir("bare"), capture.AudioFile)
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	data[len(data)/2] ^= 1
	if err := os.WriteFile(path, data, 0o666); err != nil {
		t.Fatal(err)
	}
	_, err = f.Audio(take)
	wantError(t, err, path, "changed after it was recorded")
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	_, err = f.Audio(take)
	wantError(t, err, path)
}

func FuzzTakeFile(f *testing.F) {
	take := plan(f, "bare")
	take.Schema, take.Audio = capture.TakeSchema, capture.Audio{File: capture.AudioFile, RateHz: 48000, Channels: 1,
		Frames: 10}
	data, err := capture.EncodeTake(take)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(data)
	f.Add(append(data, "[linearity]\nlevels_dbfs = [-12.0, -24.0]\ndeviation_db = 0.1\nu_db = 0.01\nat_hz = "+
		"8000.0\nlinear = false\n"...))
	f.Add([]byte("[quality]\nflags = [\"clipped\"]\npeak_dbfs = nan\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		take, err := capture.DecodeTake(data)
		if err != nil {
			return
		}
		again, err := capture.EncodeTake(take)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := capture.DecodeTake(again); err != nil {
			t.Fatalf("written and read again: %v", err)
		}
	})
}
