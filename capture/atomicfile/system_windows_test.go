package atomicfile

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// hold opens the file as a program does that shares it with no other.
func hold(t *testing.T, path string) (letGo func()) {
	t.Helper()
	name, err := syscall.UTF16PtrFromString(path)
	if err != nil {
		t.Fatal(err)
	}
	h, err := syscall.CreateFile(name, syscall.GENERIC_READ, syscall.FILE_SHARE_READ, nil, syscall.OPEN_EXISTING, 0, 0)
	if err != nil {
		t.Fatal(err)
	}
	return func() { syscall.CloseHandle(h) }
}

// A virus scanner lets go of a file after a while, another program does not.
func TestRenameWaitsForAHeldFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "result.json")
	if err := os.WriteFile(path, []byte("old"), 0o666); err != nil {
		t.Fatal(err)
	}
	letGo := hold(t, path)
	time.AfterFunc(300*time.Millisecond, letGo)
	if err := Write(path, []byte("new")); err != nil {
		t.Fatal(err)
	}
	letGo = hold(t, path)
	defer letGo()
	err := Write(path, []byte("newer"))
	if !errors.Is(err, errHeld) ||
		!strings.HasSuffix(err.Error(), "open in another program: close "+path+" there, and try again") {
		t.Errorf("error %v", err)
	}
	if got, _ := os.ReadFile(path); string(got) != "new" {
		t.Errorf("the file holds %q", got)
	}
}

func TestWindowsNumbersInWords(t *testing.T) {
	path := filepath.Join("bridge", "result.json")
	for number, want := range map[syscall.Errno]string{
		2:    "no such file or directory",
		3:    "no such file or directory",
		5:    "permission denied: choose another folder, or change the rights of bridge",
		19:   "read-only file system: choose a folder that can be written to",
		32:   `open in another program: close bridge\result.json there, and try again`,
		39:   "no space left on device: free space on the disk that holds bridge",
		112:  "no space left on device: free space on the disk that holds bridge",
		1295: "disk quota exceeded: free space on the disk that holds bridge",
	} {
		got := Advise(path, &fs.PathError{Op: "write", Path: "t.tmp", Err: number})
		if got.Error() != want || !errors.Is(got, number) {
			t.Errorf("%d: %q, want %q", number, got, want)
		}
	}
	if err := SyncDir(t.TempDir()); err != nil {
		t.Error(err)
	}
	if err := SyncDir(filepath.Join(t.TempDir(), "missing")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("missing folder: %v", err)
	}
}
