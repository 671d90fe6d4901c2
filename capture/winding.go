package capture

import "coilsweep/capture/tomlkey"

// Winding is how a coil was wound, in words that a person types: lengths as
// "60mm". The core is round, or oblong with round ends.
type Winding struct {
	Wire       string `toml:"wire"`            // "AWG 42", or the bare diameter "0.063mm"
	Turns      int    `toml:"turns,omitempty"` // 0: not counted
	CoreLength string `toml:"core_length"`     // of the core on which the first turn lies
	CoreWidth  string `toml:"core_width"`
	Height     string `toml:"height"` // between the flanges
	// Grade of the wire's insulation build, 1 or 2 (IEC 60317); 0: not stated.
	Grade int `toml:"grade,omitempty"`
	// Room is how deep a winding may be, from the core to the flanges' edge.
	Room string `toml:"room,omitempty"`
}

// encodeWinding is the winding as a table of coil.toml.
func encodeWinding(w Winding) string {
	s := "[winding]\n" + tomlkey.Setting("wire", w.Wire)
	if w.Turns > 0 {
		s += tomlkey.Setting("turns", w.Turns)
	}
	s += tomlkey.Setting("core_length", w.CoreLength) + tomlkey.Setting("core_width", w.CoreWidth) +
		tomlkey.Setting("height", w.Height)
	if w.Grade > 0 {
		s += tomlkey.Setting("grade", w.Grade)
	}
	if w.Room != "" {
		s += tomlkey.Setting("room", w.Room)
	}
	return s
}
