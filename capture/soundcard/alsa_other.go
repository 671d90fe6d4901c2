//go:build cgo && !linux

package soundcard

// checkALSA has nothing to check where there is no ALSA.
func checkALSA() error { return nil }
