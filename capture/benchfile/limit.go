package benchfile

import "fmt"

// limits are the bounds of what can be stated of a sound card: an ideal one does
// not exist, and one beyond them is broken.
var limits = map[string]struct {
	least, most float64
	unit        string
}{
	"ripple_db":      {1e-4, 3, "dB"},
	"ripple_take_db": {1e-5, 1, "dB"},
	"clock_ppm":      {1e-3, 1000, "ppm"},
}

// CheckLimit reports a limit of a sound card, by its key under [card], that none
// has. It panics for another key.
func CheckLimit(key string, value float64) error {
	l, ok := limits[key]
	if !ok {
		panic("benchfile: no limit " + key)
	}
	if !(value >= l.least && value <= l.most) {
		return fmt.Errorf("%s is %g: want %g to %g %s", key, value, l.least, l.most, l.unit)
	}
	return nil
}
