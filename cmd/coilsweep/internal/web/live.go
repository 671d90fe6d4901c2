package web

import (
	"context"
	"net/http"
	"strconv"
	"time"

	"coilsweep/capture/record"
	"coilsweep/cmd/coilsweep/internal/web/site"
	"coilsweep/cmd/coilsweep/internal/web/swept"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/report/figure"
)

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
			w.live = swept.Live{Wanted: options.LevelDBFS, Looked: time.Now()}
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
	return w.live.Wanted
}

// showLive shows what a sweep says; false: nobody has looked for a while.
func (w *workshop) showLive(g workbench.Glance) bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.live.Last = g
	w.toldLive()
	return time.Since(w.live.Looked) < unwatched
}

// toldLive tells the pages what live mode shows, for who holds w.mu.
func (w *workshop) toldLive() {
	w.revision++
	w.live.Revision = w.revision
	w.publish("live", struct {
		Revision int `json:"revision"`
		shows
	}{w.revision, shows{HTML: w.live.Places()}})
}

// getLive is the curve of the last sweep. A page that asks for it looks on.
func (w *workshop) getLive(*http.Request) (any, error) {
	w.mu.Lock()
	w.live.Looked = time.Now()
	now := figure.Underway{Name: "live", Response: w.live.Last.Response}
	w.mu.Unlock()
	d, _ := figure.DrawUnderway(now, figure.Underway{}) // a response without a curve is none
	return shows{HTML: places{"live-figure": drawing(d)}}, nil
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
		w.live.Wanted = dBFS
	}
	if in.Mark {
		if w.live.Last.Sweep == 0 || !w.live.Last.Resonance.Known() {
			return nil, &site.Error{Status: http.StatusConflict, Text: "there is no resonance yet to compare with"}
		}
		w.live.Mark = w.live.Last
		w.toldLive()
	}
	return done{}, nil
}
