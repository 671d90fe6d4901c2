package workbench

import (
	"slices"

	"coilsweep/capture"
	"coilsweep/capture/instrument"
)

// stated are the instruments that the bench states of what is taken from it: those of values
// that somebody gave in place of the bench's are not behind a take, nor, of a recording from
// elsewhere, is the sound card.
func (b *Bench) stated(o Options, imported bool) (used []instrument.Used) {
	taken := func(names ...string) bool {
		return slices.ContainsFunc(o, func(p *Option) bool { return p.FromBench && slices.Contains(names, p.Name) })
	}
	for _, one := range []struct {
		behind bool
		instrument.Used
	}{
		{!imported && b.Kind == SoundCard, instrument.Used{Role: instrument.Card, Instrument: b.found.Card.Instrument}},
		{taken("sense-r"), instrument.Used{Role: instrument.Reference, Instrument: b.found.Reference.Instrument}},
		{taken("fixture-c", "fixture-r", "exciter-r", "exciter-l", "sense-r"),
			instrument.Used{Role: instrument.BenchMeter, Instrument: b.found.Meter}},
	} {
		if one.behind && one.Words() != "" {
			used = append(used, one.Used)
		}
	}
	return used
}

// behind are the instruments behind a take.
func (b *Bench) behind(take capture.Take) (used []instrument.Used) {
	used = slices.Clone(b.instruments)
	parts := instrument.Used{Role: instrument.PartsMeter, Instrument: b.parts.Meter}
	if l := take.Load; parts.Words() != "" && (l.AddedC != nil && b.parts.Valued(l.AddedC.Value) ||
		l.AddedR != nil && b.parts.Valued(l.AddedR.Value)) {
		used = append(used, parts)
	}
	return used
}
