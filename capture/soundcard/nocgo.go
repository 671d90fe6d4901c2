//go:build !cgo

package soundcard

import (
	"context"

	"coilsweep/capture"
	"coilsweep/capture/record"
)

// Devices lists the sound devices. Without cgo it returns ErrNoCgo.
func Devices(context.Context) ([]Device, error) { return nil, ErrNoCgo }

// Card is an open pair of sound devices, ready to record.
type Card struct{}

// Open opens a pair of sound devices. Without cgo it returns ErrNoCgo.
func Open(Options) (*Card, error) { return nil, ErrNoCgo }

// Format is the zero Format without cgo.
func (*Card) Format() record.Format { return record.Format{} }

// Describe is the zero Bench without cgo.
func (*Card) Describe() capture.Bench { return capture.Bench{} }

// Record returns ErrNoCgo without cgo.
func (*Card) Record(context.Context, []float32, int, func([]float32) error) (record.Session, error) {
	return record.Session{}, ErrNoCgo
}

// Close does nothing without cgo.
func (*Card) Close() error { return nil }
