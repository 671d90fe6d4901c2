package atomicfile

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"syscall"

	"coilsweep/capture/rooted"
)

// ErrNotPlain: a pipe, a device or a folder stands where a file was expected.
var ErrNotPlain = errors.New("not a plain file")

// ErrTooLarge: a file is larger than any of its kind.
var ErrTooLarge = errors.New("too large")

// MaxText bounds the files that people and programs describe things in: the
// take.toml of a thousand sweeps has a tenth of it.
const MaxText = 1 << 24

// Open opens a plain file for reading and tells its size. Pipes and devices, on which
// reading may wait or have no end, are refused: ErrNotPlain. The error is a
// *fs.PathError.
func Open(path string) (*os.File, int64, error) {
	refuse := func(err error) (*os.File, int64, error) {
		return nil, 0, &fs.PathError{Op: "open", Path: path, Err: err}
	}
	// Looked at first, since opening a device may do something; and without waiting,
	// since it may be exchanged for a pipe before it is opened.
	if info, err := rooted.Stat(path); err == nil && !info.Mode().IsRegular() {
		return refuse(ErrNotPlain)
	}
	f, err := rooted.OpenFile(path, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	if err != nil {
		return nil, 0, err
	}
	info, err := f.Stat()
	if err == nil && !info.Mode().IsRegular() {
		err = ErrNotPlain
	}
	if err != nil {
		f.Close()
		return refuse(cause(err))
	}
	return f, info.Size(), nil
}

// Read reads a plain file of up to most bytes.
func Read(path string, most int64) ([]byte, error) {
	f, size, err := Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data := make([]byte, 0, min(size, most)+1)
	for len(data) < cap(data) { // one more than it should hold
		n, err := f.Read(data[len(data):cap(data)])
		data = data[:len(data)+n]
		if err == io.EOF {
			return data, nil
		} else if err != nil {
			return nil, err
		}
		if len(data) == cap(data) && int64(len(data)) <= most {
			data = append(data, 0)[:len(data)] // it has grown
		}
	}
	return nil, &fs.PathError{Op: "read", Path: path,
		Err: fmt.Errorf("%w: such a file has at most %d bytes", ErrTooLarge, most)}
}
