package rooted

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"testing"
)

// Below a confined folder no call follows a link out of it, all others do as ever; after
// its release, and beside it, they are those of package os.
func TestConfine(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("Wine follows links of which Windows is asked not to: for a real Windows to show")
	}
	root, outside := t.TempDir(), t.TempDir()
	secret := filepath.Join(outside, "secret")
	in := func(name string) string { return filepath.Join(root, name) }
	if err := errors.Join(os.WriteFile(secret, []byte("x"), 0o666), os.Symlink(secret, in("file")),
		os.Symlink(outside, in("dir")), os.WriteFile(in("own"), []byte("own"), 0o666),
		os.Symlink("own", in("within")), os.Mkdir(in("sub"), 0o777)); err != nil {
		t.Fatal(err)
	}
	calls := map[string]func() error{
		"Open":     func() error { f, err := Open(in("file")); f.Close(); return err },
		"OpenFile": func() error { f, err := OpenFile(in("dir/new"), os.O_CREATE|os.O_RDWR, 0o666); f.Close(); return err },
		"ReadFile": func() error { _, err := ReadFile(in("dir/secret")); return err },
		"Stat":     func() error { _, err := Stat(in("file")); return err },
		"Lstat":    func() error { _, err := Lstat(in("dir/secret")); return err },
		"ReadDir":  func() error { _, err := ReadDir(in("dir")); return err },
		"Mkdir":    func() error { return Mkdir(in("dir/made")) },
		"MkdirAll": func() error { return MkdirAll(in("dir/all/made")) },
		"Rename":   func() error { return Rename(in("own"), in("dir/own")) },
		"Remove":   func() error { return Remove(in("dir/secret")) },
	}
	release, err := Confine(root)
	if err != nil {
		t.Fatal(err)
	}
	for name, call := range calls {
		if call() == nil {
			t.Errorf("%s follows a link out", name)
		}
	}
	if entries, err := os.ReadDir(outside); err != nil || len(entries) != 1 {
		t.Errorf("outside there is %v, %v", entries, err)
	}
	if text, err := ReadFile(in("within")); err != nil || string(text) != "own" {
		t.Errorf("a link within: %q, %v", text, err)
	}
	var walked []string
	if err := WalkDir(root, func(path string, _ fs.DirEntry, err error) error {
		walked = append(walked, path)
		return err
	}); err != nil || !slices.Equal(walked, []string{root, in("dir"), in("file"), in("own"), in("sub"), in("within")}) {
		t.Errorf("walked %q, %v", walked, err)
	}
	f, err := OpenFile(in("sub/new"), os.O_CREATE|os.O_EXCL|os.O_RDWR, 0o666)
	if err != nil || f.Name() != in("sub/new") {
		t.Fatalf("%v, %v", f, err)
	}
	f.Close()
	if err := errors.Join(Rename(in("sub/new"), in("moved")), Remove(in("moved")), RemoveAll(in("sub"))); err != nil {
		t.Error(err)
	}
	if entries, err := ReadDir(root); err != nil || len(entries) != 4 {
		t.Errorf("%v, %v", entries, err)
	}
	if text, err := ReadFile(secret); err != nil || string(text) != "x" {
		t.Errorf("beside: %q, %v", text, err)
	}
	release()
	for _, name := range []string{"Open", "ReadFile", "Stat", "ReadDir", "Mkdir", "Rename"} {
		if err := calls[name](); err != nil {
			t.Errorf("%s after release: %v", name, err)
		}
	}
}
