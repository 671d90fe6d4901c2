package atomicfile

import (
	"errors"
	"io/fs"
	"os"
	"syscall"
	"time"

	"coilsweep/capture/rooted"
)

// Windows' numbers of errors (System Error Codes of its documentation) that have no
// name in package syscall.
const (
	sharingViolation = syscall.Errno(32)
	lockViolation    = syscall.Errno(33)
)

// errMissing is ENOENT, which package syscall has as the first of these numbers.
var errMissing = errors.New("no such file or directory")

// known says what Windows' numbers are called elsewhere.
var known = map[syscall.Errno]error{
	syscall.ERROR_FILE_NOT_FOUND: errMissing,
	syscall.ERROR_PATH_NOT_FOUND: errMissing,
	syscall.ERROR_ACCESS_DENIED:  syscall.EACCES,
	19:                           syscall.EROFS,  // write protected
	39:                           syscall.ENOSPC, // disk full, seen at a handle
	112:                          syscall.ENOSPC, // disk full
	1295:                         syscall.EDQUOT,
	sharingViolation:             errHeld,
	lockViolation:                errHeld,
}

// translated is an error of Windows in the words of the other systems.
type translated struct{ words, number error }

func (t translated) Error() string   { return t.words.Error() }
func (t translated) Unwrap() []error { return []error{t.words, t.number} }

func translate(err error) error {
	number, _ := errors.AsType[syscall.Errno](err)
	if words, ok := known[number]; ok {
		return translated{words, number}
	}
	return err
}

// renameLimit is how long to wait for another program to let go of a file. A virus
// scanner opens what was just written, for some tenths of a second.
const renameLimit = 2 * time.Second

// Rename is rooted.Rename, and waits a little while another program has a file open that
// is to be moved or replaced.
func Rename(from, to string) error {
	pause := 5 * time.Millisecond
	for end := time.Now().Add(renameLimit); ; pause += pause / 2 {
		err := rooted.Rename(from, to)
		denied := errors.Is(err, syscall.ERROR_ACCESS_DENIED)
		if !denied && !errors.Is(err, sharingViolation) && !errors.Is(err, lockViolation) {
			return err
		}
		if info, serr := rooted.Stat(to); serr == nil && info.IsDir() {
			return &os.LinkError{Op: "rename", Old: from, New: to, Err: syscall.EEXIST}
		}
		if denied && held(to) {
			err = &os.LinkError{Op: "rename", Old: from, New: to, Err: sharingViolation}
		}
		if time.Now().After(end) {
			return err
		}
		time.Sleep(pause)
	}
}

// held is whether another program has the file open: to replace such a file is
// answered like missing rights.
func held(path string) bool {
	const deletion = 0x10000 // DELETE of the standard access rights
	h, err := open(path, deletion)
	if err == nil {
		syscall.CloseHandle(h)
	}
	return errors.Is(err, sharingViolation)
}

// open opens a file or folder and keeps nobody from it.
func open(path string, access uint32) (syscall.Handle, error) {
	name, err := syscall.UTF16PtrFromString(path)
	if err != nil {
		return syscall.InvalidHandle, err
	}
	return syscall.CreateFile(name, access, syscall.FILE_SHARE_READ|syscall.FILE_SHARE_WRITE|syscall.FILE_SHARE_DELETE,
		nil, syscall.OPEN_EXISTING, syscall.FILE_FLAG_BACKUP_SEMANTICS, 0)
}

// syncDir flushes a folder where Windows does so: on NTFS, for one who may write.
func syncDir(dir string) error {
	h, err := open(dir, syscall.GENERIC_WRITE)
	if errors.Is(err, fs.ErrNotExist) {
		return &fs.PathError{Op: "sync", Path: dir, Err: err}
	} else if err != nil {
		return nil
	}
	defer syscall.CloseHandle(h)
	syscall.FlushFileBuffers(h) // a file system that keeps folders elsewhere refuses
	return nil
}
