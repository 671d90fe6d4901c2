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
	return shows{places{"bench-silence": fragment("silence", facts), "silence-words": text(silenceWords(noise, hum))}}
}

// silenceWords judge an idle input.
func silenceWords(noise, hum *float64) string {
	switch {
	case noise == nil && hum == nil:
		return "Nothing at all arrives: is the right input chosen, its gain up, the coil plugged in?"
	case hum != nil && *hum > -40:
		return "Much hum: turn the coil to where it hums least, keep transformers and lamps away, " +
			"check the ground of the input."
	case hum != nil && noise != nil && *hum > *noise+20:
		return "Hum stands out of the noise. Turning the coil helps; the sweep turns the rest against itself."
	case noise != nil && *noise > -50:
		return "Noisy: lower the gain, or look for a lamp dimmer or a switching supply nearby."
	}
	return "Quiet enough."
}
