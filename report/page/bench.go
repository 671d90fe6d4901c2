package page

import (
	"cmp"
	"fmt"
	"math"
	"strconv"
	"strings"

	"coilsweep/capture"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

func (p *coilPage) bench(d CoilDocument) {
	fact1 := func(name, value string) {
		if value != "" {
			p.CoilFacts = append(p.CoilFacts, fact{name, notation.Visible(value)})
		}
	}
	for _, f := range identity(d.Result.About, len(d.Result.Takes)) {
		fact1(f.Name, f.Value)
	}
	if d.Coil.DCR != nil {
		fact1("DC resistance", d.Coil.DCR.String())
	}
	if t := d.Coil.CelsiusAtTakes; t != nil {
		fact1("coil during the takes", quantity.Minus(fmt.Sprintf("%g °C", *t)))
	}
	for _, c := range conditions {
		row := benchRow{Name: c.name}
		alike := true
		for _, t := range d.Takes {
			text := notation.Visible(c.of(t))
			alike = alike && text == notation.Visible(c.of(d.Takes[0]))
			row.Cells = append(row.Cells, cmp.Or(text, notation.None))
		}
		switch {
		case !alike:
			p.BenchRows = append(p.BenchRows, row)
		case len(row.Cells) > 0 && row.Cells[0] != notation.None:
			p.CoilFacts = append(p.CoilFacts, fact{c.name, row.Cells[0]})
		}
	}
}

// identity is which coil it is, who measured it and with what, as far as it is stated.
func identity(a fit.About, takes int) []fact {
	facts := []fact{{"serial number", a.Serial}, {"lot", a.Lot}, {"customer", a.Customer},
		{"takes made by", words.Operators(a)}}
	for _, u := range a.Instruments {
		facts = append(facts, fact{u.Role, words.Instrument(u, takes)})
	}
	return facts
}

// conditions are what is told of the bench: once where all takes agree, else in
// a table.
var conditions = []struct {
	name string
	of   func(capture.Take) string
}{
	{"started", func(t capture.Take) string {
		if t.Started.IsZero() {
			return ""
		}
		return t.Started.Format("2006-01-02 15:04 -07:00")
	}},
	{"source", func(t capture.Take) string {
		return map[string]string{"soundcard": "sound card", "virtual": "simulated bench",
			"import": "recording imported"}[t.Bench.Source]
	}},
	{"input", func(t capture.Take) string { return t.Bench.InputDevice }},
	{"output", func(t capture.Take) string { return t.Bench.OutputDevice }},
	{"file", func(t capture.Take) string { return t.Bench.File }},
	{"kept as FLAC", func(t capture.Take) string {
		if t.Audio.File != capture.FLACFile {
			return ""
		}
		return fmt.Sprintf("yes, %d bits", t.Audio.SampleBits)
	}},
	{"kept as WAV, not FLAC", func(t capture.Take) string { return t.Audio.StaysWAV }},
	{"sample rate", func(t capture.Take) string { return notation.Nominal(float64(t.Audio.RateHz), quantity.Hertz) }},
	{"sweep", func(t capture.Take) string {
		s := t.Stimulus
		if s.RateHz == 0 {
			return ""
		}
		return fmt.Sprintf("%s to %s in %.3g s, %s, %s",
			notation.Nominal(s.FromHz, quantity.Hertz), notation.Nominal(s.ToHz, quantity.Hertz),
			float64(s.SweepSamples)/float64(s.RateHz), notation.Count(s.Repeats, "repeat"), notation.Level(s.LevelDBFS))
	}},
	{"exciter drive", func(t capture.Take) string {
		kind := t.Drive.Kind
		if kind != "" && t.Drive.Assumed {
			kind += ", assumed"
		}
		return kind
	}},
	{"drop of the drive", func(t capture.Take) string {
		f := t.Drive.Fall
		if f == nil {
			return ""
		}
		state := "not corrected"
		if f.Corrected {
			state = "corrected"
		}
		return fmt.Sprintf("%s dB at %s, %s", notation.TwoDigits(f.DB), notation.Nominal(f.AtHz, quantity.Hertz), state)
	}},
	{"reference", func(t capture.Take) string { return t.Reference.Kind }},
	{"limits of the sound card", func(t capture.Take) string {
		if t.Card == (capture.Card{}) {
			return "" // of another version of the program
		}
		c := t.CardLimits()
		return fmt.Sprintf("response even within %g dB over an octave and %g dB from take to take, "+
			"clock right within %g ppm",
			c.RippleDB, c.RippleTakeDB, c.ClockPPM)
	}},
	{"fixture C", func(t capture.Take) string { return stated(t.Load.FixtureC, "unknown") }},
	{"fixture R", func(t capture.Take) string { return stated(t.Load.FixtureR, "unknown") }},
	{"in series with the input", func(t capture.Take) string { return stated(t.Load.FixtureSeriesR, "up to 1 kΩ") }},
	{"added C", func(t capture.Take) string { return stated(t.Load.AddedC, "") }},
	{"added R", func(t capture.Take) string { return stated(t.Load.AddedR, "") }},
	{"peak level", func(t capture.Take) string { return levelOf(t.Quality.PeakDBFS) }},
	{"noise, rms", func(t capture.Take) string { return levelOf(t.Quality.NoiseDBFS) }},
	{"clipped samples", func(t capture.Take) string {
		if t.Quality.ClippedSamples == 0 {
			return ""
		}
		return strconv.Itoa(t.Quality.ClippedSamples)
	}},
	{"clock drift", func(t capture.Take) string {
		return quantity.Minus(fmt.Sprintf("%+.1f ppm", t.Quality.DriftPPM))
	}},
	{"polarity", func(t capture.Take) string {
		if t.Quality.Polarity < 0 {
			return "inverted"
		}
		return ""
	}},
	{"linearity", func(t capture.Take) string {
		l := t.Linearity
		if l == nil {
			return ""
		}
		verdict := "linear"
		if !l.Linear {
			verdict = "not linear"
		}
		return fmt.Sprintf("%s between %s and %s: at most %s apart, about %s", verdict,
			notation.Level(l.LevelsDBFS[1]), notation.Level(l.LevelsDBFS[0]),
			quantity.FormatWithU95(math.Abs(l.DeviationDB), quantity.Coverage95*l.UDB, quantity.Decibel),
			notation.Nominal(l.AtHz, quantity.Hertz))
	}},
	{"damaged repeats", func(t capture.Take) string {
		repeat := func(r int) string { return strconv.Itoa(r + 1) }
		return strings.Join(notation.Each(t.Quality.DamagedRepeats, repeat), ", ")
	}},
	{"notes", func(t capture.Take) string { return strings.Join(t.Bench.Notes, "; ") }},
}

// stated is a part as it was typed, or else none.
func stated[T any, P interface {
	*T
	fmt.Stringer
}](part P, none string) string {
	if part == nil {
		return none
	}
	return part.String()
}

// levelOf is a level as measured; zero is that of a take without one.
func levelOf(dbfs float64) string {
	if dbfs == 0 || math.IsNaN(dbfs) || math.IsInf(dbfs, 0) {
		return ""
	}
	return notation.Level(dbfs)
}

// origin is what is told of how the numbers and the page were made.
func (p *coilPage) origin(d CoilDocument) {
	p.provenance("fitted by", d.Result.Program)
	p.provenance("page made by", d.Program)
	if !d.Made.IsZero() {
		p.provenance("page made", d.Made.Format("2006-01-02 15:04:05 -07:00"))
	}
	p.provenance("result format", d.Result.Schema)
	recorders, stimulus := map[string]bool{}, map[string]string{}
	for _, t := range d.Takes {
		if !recorders[t.Program] {
			recorders[t.Program] = true
			p.provenance("takes recorded by", t.Program)
		}
		stimulus[t.Name] = t.Stimulus.SHA256
	}
	for _, t := range d.Result.Takes {
		if t.AudioSHA256 != "" {
			p.Checksums = append(p.Checksums, benchRow{shortName(t.Name),
				[]string{notation.Visible(t.AudioSHA256), notation.Visible(stimulus[t.Name])}})
		}
	}
}
