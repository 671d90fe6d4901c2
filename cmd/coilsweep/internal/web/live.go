package web

import (
	"context"
	"fmt"
	"html/template"
	"net/http"
	"strconv"
	"strings"
	"time"

	"coilsweep/capture/record"
	"coilsweep/cmd/coilsweep/internal/web/site"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/figure"
	"coilsweep/report/notation"
)

// live is what live mode shows. Nothing of it is kept.
type live struct {
	wanted   float64          // level in dBFS
	looked   time.Time        // when a page asked last
	last     workbench.Glance // Sweep is 0: none yet
	mark     workbench.Glance // with which the last one is compared; Sweep is 0: with none
	drawing  figure.Drawing
	revision int
}

// unwatched is how long short sweeps go on when no page asks for them any more: a page
// that was closed does not leave sound behind.
const unwatched = 15 * time.Second

func (w *workshop) startLive(_ *http.Request, in trialRequest) (any, error) {
	options := workbench.NewLive(w.Program)
	plan, err := planTrial(w, in, &options.Bench, options.Options, options.Plan)
	if err != nil {
		return nil, err
	}
	err = w.work(jobInfo{Kind: "live", Coil: in.Coil}, &plan.Source,
		func(ctx context.Context, rec record.Recorder) error {
			ctx, stop := context.WithCancel(ctx)
			defer stop()
			w.mu.Lock()
			w.live = live{wanted: options.LevelDBFS, looked: time.Now()}
			w.mu.Unlock()
			return plan.Run(ctx, rec, w.ears(), w.liveLevel, func(g workbench.Glance) {
				if !w.showLive(g) {
					stop()
				}
			})
		},
		func(err error) ended {
			if err != nil {
				return failure("live mode", err)
			}
			return ended{Outcome: outcomeStopped, Text: "live mode has ended: nothing of it is kept"}
		})
	if err != nil {
		return nil, err
	}
	return accepted{}, nil
}

func (w *workshop) liveLevel() float64 {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.live.wanted
}

// showLive shows what a sweep says; false: nobody has looked for a while.
func (w *workshop) showLive(g workbench.Glance) bool {
	var d figure.Drawing
	if g.Response != nil {
		d, _ = figure.DrawResponse("live", g.Response) // a response without a curve is none
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.live.last, w.live.drawing = g, d
	w.toldLive()
	return time.Since(w.live.looked) < unwatched
}

// toldLive tells the pages what live mode shows, for who holds w.mu.
func (w *workshop) toldLive() {
	w.revision++
	w.live.revision = w.revision
	w.publish("live", struct {
		Revision int `json:"revision"`
		shows
	}{w.revision, shows{w.live.places()}})
}

// places are the numbers of live mode, in large digits.
func (l live) places() places {
	g := l.last
	digits := func(whole, spread string) template.HTML {
		number, prefixed, _ := strings.Cut(whole, " ")
		return fragment("digits", struct{ Number, Unit, Spread string }{number, prefixed, spread})
	}
	of := func(q fit.Quantity, unit quantity.Unit) template.HTML {
		if !q.Known() {
			return digits(notation.None, "")
		}
		return digits(notation.Apart(q, unit))
	}
	words := g.Sentence()
	if words == "" {
		words = g.Heard()
	}
	return places{
		"live-resonance": of(g.Resonance, quantity.Hertz), "live-q": of(g.Q, quantity.Ratio),
		"live-level": digits(notation.Level(g.PeakDBFS), ""), "live-words": text(said(words)),
		"live-played": text(said(fmt.Sprintf("Sweep %d, played at %.0f dBFS.", g.Sweep, g.LevelDBFS))),
		"live-since":  text(said(l.since())),
	}
}

// since says by how much resonance and Q differ from those of the mark.
func (l live) since() string {
	g, m := l.last, l.mark
	if m.Sweep == 0 || !g.Resonance.Known() || !m.Resonance.Known() {
		return ""
	}
	apart := func(a, b fit.Quantity) string { return notation.Change(100 * (a.Value/b.Value - 1)) }
	words := "since the mark: resonance " + apart(g.Resonance, m.Resonance)
	if g.Q.Known() && m.Q.Known() {
		words += ", Q " + apart(g.Q, m.Q)
	}
	return notation.UpperFirst(words)
}

// getLive is the curve of the last sweep. A page that asks for it looks on.
func (w *workshop) getLive(*http.Request) (any, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.live.looked = time.Now()
	return shows{places{"live-figure": drawing(w.live.drawing)}}, nil
}

// steerLive makes the next sweeps louder or quieter, or marks the last one to compare
// those that follow with it.
func (w *workshop) steerLive(_ *http.Request, in struct {
	Level string `json:"level"` // in dBFS; empty: as it is
	Mark  bool   `json:"mark"`
}) (any, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if in.Level != "" {
		dBFS, err := strconv.ParseFloat(workbench.DecimalComma.ReplaceAllString(in.Level, "$1.$2"), 64)
		if err != nil {
			return nil, wrong("level", "want a level in dBFS, such as -30")
		}
		if err := workbench.CheckLiveLevel(dBFS); err != nil {
			return nil, err
		}
		w.live.wanted = dBFS
	}
	if in.Mark {
		if w.live.last.Sweep == 0 || !w.live.last.Resonance.Known() {
			return nil, &site.Error{Status: http.StatusConflict, Text: "there is no resonance yet to compare with"}
		}
		w.live.mark = w.live.last
		w.toldLive()
	}
	return done{}, nil
}
