package workbench

import (
	"coilsweep/capture"
	"coilsweep/capture/instrument"
	"coilsweep/capture/partsfile"
)

// findInstruments finds the instruments that are stated of the bench of dir and of the parts
// at hand there. Those of values that somebody gave in place of the bench's are not behind a
// take; nor, of a recording from elsewhere, is the sound card.
func (b *Bench) findInstruments(o Options, dir string, imported bool) {
	b.instruments = nil
	if found := b.found; found != nil {
		if !imported && b.Kind == SoundCard {
			b.instruments = append(b.instruments, instrument.Used{Role: instrument.Card,
				Instrument: found.Card.Instrument})
		}
		if !o.Given("reference", "sense-r") {
			b.instruments = append(b.instruments, instrument.Used{Role: instrument.Reference,
				Instrument: found.Reference.Instrument})
		}
		b.instruments = append(b.instruments, instrument.Used{Role: instrument.BenchMeter, Instrument: found.Meter})
	}
	b.parts, _ = partsfile.Find(dir) // a broken list is told of where parts are proposed
}

// behind are the instruments behind a take.
func (b *Bench) behind(take capture.Take) (used []instrument.Used) {
	for _, u := range b.instruments {
		if u.Words() != "" && (u.Role != instrument.Reference || take.Reference.Kind == "current") {
			used = append(used, u)
		}
	}
	parts := instrument.Used{Role: instrument.PartsMeter, Instrument: b.parts.Meter}
	if l := take.Load; parts.Words() != "" && (l.AddedC != nil && b.parts.Valued(l.AddedC.Value) ||
		l.AddedR != nil && b.parts.Valued(l.AddedR.Value)) {
		used = append(used, parts)
	}
	return used
}
