package invented

import "errors"

// FullDisk is a writer that fails with ErrFull.
type FullDisk struct{}

// ErrFull is the error of a FullDisk.
var ErrFull = errors.New("disk is full")

// Write fails.
func (FullDisk) Write([]byte) (int, error) { return 0, ErrFull }
