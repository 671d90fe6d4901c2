//go:build !windows

package atomicfile

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"coilsweep/capture/rooted"
)

// Files are read whole up to their limit; what could wait or have no end is refused
// at once.
func TestRead(t *testing.T) {
	dir := t.TempDir()
	pipe, file, link := filepath.Join(dir, "pipe"), filepath.Join(dir, "file"), filepath.Join(dir, "link")
	data := bytes.Repeat([]byte("coil"), 2500)
	for _, err := range []error{syscall.Mkfifo(pipe, 0o666), os.WriteFile(file, data, 0o666), os.Symlink("/dev/zero", link)} {
		if err != nil {
			t.Fatal(err)
		}
	}
	done := make(chan bool)
	go func() {
		defer close(done)
		for _, path := range []string{pipe, dir, link, "/dev/zero"} {
			if _, err := Read(path, 100); !errors.Is(err, ErrNotPlain) {
				t.Errorf("%s: %v", path, err)
			}
		}
		if got, err := Read(file, 10000); err != nil || !bytes.Equal(got, data) {
			t.Errorf("%d bytes read, %v", len(got), err)
		}
		if _, err := Read(file, 9999); !errors.Is(err, ErrTooLarge) {
			t.Errorf("a file above the limit: %v", err)
		}
		// Files of the kernel say that they are empty.
		if got, err := Read("/proc/self/status", 1<<20); err != nil || len(got) < 100 {
			t.Errorf("%d bytes read of a file that claims none, %v", len(got), err)
		}
		if _, err := Read(filepath.Join(dir, "none"), 100); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("no file: %v", err)
		}
	}()
	select {
	case <-done:
	case <-time.After(10 * time.Second):
		t.Fatal("reading waits")
	}
}

// Both hold in a folder that is confined: no link leads out, and no pipe is waited for.
func TestReadConfined(t *testing.T) {
	root, outside := t.TempDir(), filepath.Join(t.TempDir(), "secret")
	pipe, own, link := filepath.Join(root, "pipe"), filepath.Join(root, "own"), filepath.Join(root, "link")
	release, err := rooted.Confine(root)
	if err != nil {
		t.Fatal(err)
	}
	defer release()
	if err := errors.Join(syscall.Mkfifo(pipe, 0o666), os.WriteFile(own, []byte("own"), 0o666),
		os.WriteFile(outside, []byte("x"), 0o666), os.Symlink(outside, link)); err != nil {
		t.Fatal(err)
	}
	if got, err := Read(own, 100); err != nil || string(got) != "own" {
		t.Errorf("%q, %v", got, err)
	}
	if _, err := Read(pipe, 100); !errors.Is(err, ErrNotPlain) {
		t.Errorf("a pipe: %v", err)
	}
	if got, err := Read(link, 100); err == nil {
		t.Errorf("a link out is read: %q", got)
	}
}
