package web

import (
	"coilsweep/capture/quality"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/excite/quantity"
	"coilsweep/report/notation"
)

// silence is what an input hears while nothing plays, in numbers and words.
func silence(s quality.Silence) shows {
	type fact struct{ What, Text string }
	level := func(dbfs *float64) string {
		if dbfs == nil {
			return notation.None
		}
		return notation.Tied(notation.Level(*dbfs))
	}
	noise, hum := workbench.Finite(s.NoiseDBFS), workbench.Measured(s.HumDBFS)
	facts := []fact{{"Noise", level(noise)}, {"Hum", level(hum)}}
	if hz := workbench.Measured(s.MainsHz); hz != nil {
		facts = append(facts, fact{"Mains", notation.Tied(quantity.Format(*hz, quantity.Hertz, 4))})
	}
	return shows{HTML: places{"bench-silence": fragment("silence", facts),
		"silence-words": text(workbench.SilenceWords(noise, hum))}}
}
