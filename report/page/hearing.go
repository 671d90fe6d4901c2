package page

import (
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"math"
	"time"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/comparison"
	"coilsweep/fit/harness"
	"coilsweep/report/figure"
	"coilsweep/report/notation"
	"coilsweep/report/sound"
	"coilsweep/report/words"
)

// HearingDocument is what a page of sounds is made from.
type HearingDocument struct {
	Listening sound.Listening
	Harness   harness.Harness
	Coils     []comparison.Coil // as measured
	Made      time.Time         // zero: not stated
	Program   string
}

var hearingTemplate = framed(source("hearing.html"))

// Hearing writes one page that plays two sounds, in the manner of Coil.
func Hearing(w io.Writer, d HearingDocument) error {
	view, err := newHearingPage(d)
	return writePage(w, hearingTemplate, view, err, "page of sounds")
}

type hearingPage struct {
	frame
	partsOfGuitar
	measuredCoils
}

func newHearingPage(d HearingDocument) (*hearingPage, error) {
	p := &hearingPage{frame: newFrame("Coils to hear", words.HearingTitle(d.Listening), "")}
	p.madeAt(d.Made, d.Program)
	p.parts(d.Harness)
	p.coils(d.Coils)
	var draw drawing
	if err := p.listen(&d.Listening, &draw); err != nil {
		return nil, err
	}
	if draw.err != nil {
		return nil, fmt.Errorf("figure of the octaves: %w", draw.err)
	}
	p.section(true, "listen", "Listen")
	p.section(true, "parts", "The guitar")
	p.section(p.Coils != nil, "coils", "Coils")
	p.section(true, "provenance", "Provenance")
	return p, nil
}

// listening is what a page shows of two sounds, and plays.
type listening struct {
	Said, About, Cautions []string
	Tracks                []track
	Cut                   string // what the page plays of a long recording
	Octaves               []benchRow
	Figure                template.HTML
	Warnings, Assumed     []string
}

type track struct {
	Key  int // that plays it
	Name string
	Data template.URL
}

const (
	mostPlayed  = 480_000 // samples of a sound in a page: 10 s at 48 kHz, 1.3 MB
	playedBits  = 16
	fadeSeconds = 0.05
)

// listen puts sounds into a page; nil: there are none.
func (f *frame) listen(l *sound.Listening, draw *drawing) error {
	if l == nil {
		return nil
	}
	f.Listening = &listening{Said: words.Hearing(*l), About: words.HearingAbout(*l), Cautions: words.HearingCautions(),
		Warnings: l.Warnings, Assumed: l.Assumptions, Figure: draw.small(figure.Octaves(l.Octaves), "")}
	for i, of := range []struct {
		name  string
		sound sound.Sound
	}{{notation.Visible(l.Names[0]), l.A}, {notation.Visible(l.Names[1]), l.B},
		{"difference", l.Pair.Difference}} {
		played := of.sound.Start(mostPlayed, int(fadeSeconds*float64(l.RateHz)))
		text, err := played.WAV(l.RateHz, playedBits, "")
		if err != nil {
			return fmt.Errorf("sound of %s: %w", of.name, err)
		}
		f.Listening.Tracks = append(f.Listening.Tracks, track{i + 1, of.name,
			template.URL("data:audio/wav;base64," + base64.StdEncoding.EncodeToString(text))})
	}
	if n := len(l.A.Samples); n > mostPlayed {
		f.Listening.Cut = fmt.Sprintf("This page plays the first %.0f s of %.0f s.",
			math.Round(mostPlayed/float64(l.RateHz)), math.Round(float64(n)/float64(l.RateHz)))
	}
	differences := notation.Each(l.Octaves, func(o harness.Octave) fit.Quantity { return o.Difference })
	cells := notation.Differences(quantity.Decibel, differences...)
	for i, o := range l.Octaves {
		f.Listening.Octaves = append(f.Listening.Octaves, benchRow{words.OctaveName(o),
			[]string{notation.Tied(cells[i]), words.OctaveVerdict(o.Difference)}})
	}
	return nil
}
