package atomicfile_test

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"coilsweep/capture/atomicfile"
)

func only(t *testing.T, dir string, names ...string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, e := range entries {
		got = append(got, e.Name())
	}
	if strings.Join(got, " ") != strings.Join(names, " ") {
		t.Errorf("folder holds %q, want %q", got, names)
	}
}

func TestWriteReplacesWhole(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "coil.toml")
	for _, want := range []string{"first and longer", "second"} {
		if err := atomicfile.Write(path, []byte(want)); err != nil {
			t.Fatal(err)
		}
		got, err := os.ReadFile(path)
		if err != nil || string(got) != want {
			t.Errorf("got %q, %v, want %q", got, err, want)
		}
		only(t, dir, "coil.toml")
	}
}

func TestTargetKeepsItsContentUntilCommit(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "coil.toml")
	if err := os.WriteFile(path, []byte("old"), 0o666); err != nil {
		t.Fatal(err)
	}
	f, err := atomicfile.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteString("new"); err != nil {
		t.Fatal(err)
	}
	if got, _ := os.ReadFile(path); string(got) != "old" {
		t.Errorf("before Commit: %q", got)
	}
	f.Abort()
	f.Abort()
	if got, _ := os.ReadFile(path); string(got) != "old" {
		t.Errorf("after Abort: %q", got)
	}
	only(t, dir, "coil.toml")
	if err := f.Commit(); err == nil {
		t.Error("Commit after Abort: no error")
	}
}

func TestErrorsNameTheTargetAndLeaveNothing(t *testing.T) {
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "taken"), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "taken", "x"), nil, 0o666); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "file"), nil, 0o666); err != nil {
		t.Fatal(err)
	}
	tests := []struct {
		path string
		want error
	}{
		{filepath.Join(dir, "missing", "a"), fs.ErrNotExist},
		{filepath.Join(dir, "file", "a"), syscall.ENOTDIR},
		{filepath.Join(dir, "taken"), syscall.EEXIST}, // a folder stands there
	}
	for _, tt := range tests {
		err := atomicfile.Write(tt.path, []byte("x"))
		if !errors.Is(err, tt.want) || !strings.Contains(err.Error(), "cannot write "+tt.path+":") ||
			strings.Contains(err.Error(), ".tmp") {
			t.Errorf("%s: error %q, want %v", tt.path, err, tt.want)
		}
	}
	only(t, dir, "file", "taken")
}

// What can be done about it is said; the name of the temporary file is not.
func TestAdvise(t *testing.T) {
	path := filepath.Join("bridge", "result.json")
	for _, tt := range []struct {
		err  error
		want string
	}{
		{syscall.EACCES, "permission denied: choose another folder, or change the rights of bridge"},
		{syscall.EROFS, "read-only file system: choose a folder that can be written to"},
		{syscall.ENOSPC, "no space left on device: free space on the disk that holds bridge"},
		{syscall.EIO, "input/output error"},
	} {
		for _, err := range []error{
			&fs.PathError{Op: "write", Path: "bridge/.result.json.0a1b.tmp", Err: tt.err},
			&os.LinkError{Op: "rename", Old: "bridge/.result.json.0a1b.tmp", New: path, Err: tt.err},
		} {
			if got := atomicfile.Advise(path, err); got.Error() != tt.want || !errors.Is(got, tt.err) {
				t.Errorf("%v: %q, want %q", tt.err, got, tt.want)
			}
		}
	}
}
