// Package atomicfile writes files whole or not at all: into a temporary file
// of the same folder, synced, renamed over the target, and the folder synced
// in its turn, so that after a crash or on a full disk the target is either
// what it was before or all that was to be written.
package atomicfile

import (
	"bytes"
	"cmp"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"

	"coilsweep/capture/rooted"
)

// File is a file in the making. It takes its name at Commit; until then it is
// a hidden file beside the target.
type File struct {
	*os.File
	target string
	done   bool
}

// Create starts a file that shall become path. A file already at path stays
// as it is until Commit. Call Abort when done, at best by defer: after Commit
// it does nothing.
func Create(path string) (*File, error) {
	dir, name := filepath.Split(path)
	temp := filepath.Join(dir, "."+name+"."+rand.Text()[:12]+".tmp")
	// Read and write, so that what was written can be read back before it counts.
	f, err := rooted.OpenFile(temp, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return nil, fmt.Errorf("cannot write %s: %w", path, Advise(path, err))
	}
	return &File{File: f, target: path}, nil
}

// Write and WriteAt are those of os.File; their errors name the target and say
// what helps.
func (f *File) Write(b []byte) (int, error) {
	n, err := f.File.Write(b)
	return n, f.explain(err)
}

// WriteAt is explained at Write.
func (f *File) WriteAt(b []byte, offset int64) (int, error) {
	n, err := f.File.WriteAt(b, offset)
	return n, f.explain(err)
}

func (f *File) explain(err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("cannot write %s: %w", f.target, Advise(f.target, err))
}

// Commit syncs the file and gives it its name. Where it fails, the target is
// untouched and nothing is left behind.
func (f *File) Commit() error {
	if f.done {
		return errors.New("atomicfile: Commit after Commit or Abort")
	}
	err := cmp.Or(f.Sync(), f.Close())
	f.done = true
	if err == nil {
		err = Rename(f.Name(), f.target)
	}
	if err != nil {
		rooted.Remove(f.Name())
		return f.explain(err)
	}
	return SyncDir(filepath.Dir(f.target))
}

// Abort drops the file unless it was committed.
func (f *File) Abort() {
	if f.done {
		return
	}
	f.done = true
	f.Close()
	rooted.Remove(f.Name())
}

// Write makes data the content of path, whole or not at all.
func Write(path string, data []byte) error {
	f, err := Create(path)
	if err != nil {
		return err
	}
	defer f.Abort()
	if _, err := f.Write(data); err != nil {
		return err
	}
	return f.Commit()
}

// SyncDir makes renames and new names in dir last through a power cut. File
// systems that cannot sync a folder are not an error.
func SyncDir(dir string) error {
	if err := syncDir(dir); err != nil {
		return fmt.Errorf("cannot sync folder %s: %w", dir, cause(err))
	}
	return nil
}

// errHeld: Windows lets a program keep all others from a file that it has open.
var errHeld = errors.New("open in another program")

// Advise is err of writing path for the one who is to do something about it:
// without the name of a temporary file, and with what helps where the disk is
// full or the folder may not be written to.
func Advise(path string, err error) error {
	err = cause(err)
	switch dir := filepath.Dir(path); {
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("%w: choose another folder, or change the rights of %s", err, dir)
	case errors.Is(err, errHeld):
		return fmt.Errorf("%w: close %s there, and try again", err, path)
	case errors.Is(err, syscall.EROFS):
		return fmt.Errorf("%w: choose a folder that can be written to", err)
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		return fmt.Errorf("%w: free space on the disk that holds %s", err, dir)
	}
	return err
}

// cause takes the name of a file off an error of package os, and puts an error of the
// system into the words that are the same on all of them.
func cause(err error) error {
	if path, ok := errors.AsType[*fs.PathError](err); ok {
		err = path.Err
	} else if link, ok := errors.AsType[*os.LinkError](err); ok {
		err = link.Err
	}
	return translate(err)
}

// Fill writes the file at path, whole or not at all, by what fill writes.
func Fill(path string, fill func(io.Writer) error) error {
	var b bytes.Buffer
	if err := fill(&b); err != nil {
		return err
	}
	return Write(path, b.Bytes())
}
