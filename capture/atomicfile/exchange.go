package atomicfile

import "os"

// Exchange gives the file or folder a the name of b, and b that of a, in one step: no
// crash leaves one of the names without its file. The error is errors.ErrUnsupported
// where system or file system cannot.
func Exchange(a, b string) error {
	if err := exchange(a, b); err != nil {
		return &os.LinkError{Op: "exchange", Old: a, New: b, Err: err}
	}
	return nil
}
