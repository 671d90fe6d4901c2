//go:build !linux && !darwin

package atomicfile

import "errors"

func exchange(a, b string) error { return errors.ErrUnsupported }
