package web

import (
	"bytes"
	"context"
	"fmt"
	"html/template"
	"io"
	"net/http"
	"slices"
	"strings"
	"time"

	"coilsweep/cmd/coilsweep/internal/desk"
	"coilsweep/cmd/coilsweep/internal/web/several"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/fit"
	"coilsweep/fit/evaluation"
	"coilsweep/fit/harness"
	"coilsweep/report/data"
)

// mostDrawn is for how many coils the responses are drawn over each other: as
// many as are kept in memory.
const mostDrawn = 8

// Coil is a workbench.Coils: a coil as it is in memory where its curves are
// wanted, else as it lies in its folder.
func (w *workshop) Coil(ctx context.Context, dir string, curves bool) (evaluation.Measured, error) {
	m, _, err := w.measuredCoil(ctx, dir, curves)
	return m, err
}

func (w *workshop) measuredCoil(ctx context.Context, dir string, curves bool) (
	m evaluation.Measured, leftOut []string, err error,
) {
	var e *evaluation.Evaluation
	if curves {
		e, err = w.coils.Get(ctx, dir)
	} else {
		e, err = evaluation.Coil(ctx, dir, evaluation.Options{AsLast: true, Fit: fit.Options{Program: w.Program}})
	}
	if err != nil {
		return m, nil, fmt.Errorf("%s: %w", w.coilOf(dir), err)
	}
	m = e.Measured()
	m.Folder = w.coilOf(dir)
	return m, e.LeftOut, nil
}

// measured are the coils in dirs, and tells the page that has the ticket how far it is.
func (w *workshop) measured(ctx context.Context, dirs []string, someMayFail bool, ticket string) (
	coils []evaluation.Measured, said string, err error,
) {
	told := time.Time{}
	return several.Measured(ctx, dirs, someMayFail, func(dir string) (evaluation.Measured, []string, error) {
		return w.measuredCoil(ctx, dir, len(dirs) <= mostDrawn)
	}, func(done int) {
		if ticket != "" && time.Since(told) > progressEvery {
			told = time.Now()
			w.publish("many", map[string]any{"ticket": ticket, "done": done, "of": len(dirs)})
		}
	})
}

// progressEvery is how often a page hears how far something is.
const progressEvery = 100 * time.Millisecond

// dirsOf are the folders of coils, each once.
func (w *workshop) dirsOf(coils []string, least, most int) ([]string, error) {
	if len(coils) < least || len(coils) > most {
		return nil, wrong("coils", "Choose %d to %d coils, not %d.", least, most, len(coils))
	}
	var dirs []string
	for _, coil := range coils {
		dir, err := w.servedDir(coil)
		if err != nil {
			return nil, err
		}
		dirs = append(dirs, dir)
	}
	w.mend(dirs...)
	if sorted := slices.Sorted(slices.Values(dirs)); len(slices.Compact(sorted)) < len(dirs) {
		return nil, wrong("coils", "a coil is named twice")
	}
	return dirs, nil
}

func (w *workshop) compareCoils(r *http.Request, in struct {
	Coils     []string `json:"coils"`
	Against   string   `json:"against"`
	SameBench bool     `json:"same_bench"`
	Sort      string   `json:"sort"`
	Ticket    string   `json:"ticket"`
	CSV       data.CSVOptions
	// Harness are options of the guitar in which the page plays two coils; nil: it does not.
	Harness map[string]string `json:"harness"`
}) (any, error) {
	if in.Harness != nil && len(in.Coils) != 2 {
		return nil, wrong("coils", "Choose two coils to hear, not %d.", len(in.Coils))
	}
	dirs, err := w.dirsOf(in.Coils, 2, 50)
	if err != nil {
		return nil, err
	}
	options := workbench.NewComparison()
	options.SameBench = in.SameBench
	if in.Against != "" {
		if options.Against, err = w.coilDir(in.Against); err != nil {
			return nil, err
		}
	}
	if err := options.Fill(map[string]string{"sort": in.Sort}); err != nil {
		return nil, err
	}
	if err := options.Check(dirs); err != nil {
		return nil, err
	}
	var h *harness.Harness
	if in.Harness != nil {
		guitar, err := guitarOf(in.Harness)
		if err != nil {
			return nil, err
		}
		h = &guitar
	}
	coils, said, err := w.measured(r.Context(), dirs, false, in.Ticket)
	if err != nil {
		return nil, err
	}
	shown, err := several.Compared(r.Context(), options, dirs, coils, h, in.CSV, w.Program)
	if err != nil {
		return nil, err
	}
	return w.many(shown, said, "")
}

// labelCoils makes labels to print of coils that are measured.
func (w *workshop) labelCoils(r *http.Request, in struct {
	Coils  []string `json:"coils"`
	Ticket string   `json:"ticket"`
}) (any, error) {
	dirs, err := w.dirsOf(in.Coils, 1, 1000)
	if err != nil {
		return nil, err
	}
	coils, said, err := w.measured(r.Context(), dirs, true, in.Ticket)
	if err != nil {
		return nil, err
	}
	shown, err := several.Labels(coils)
	if err != nil {
		return nil, err
	}
	return w.many(shown, said, w.line("label", in.Coils, 1, nil))
}

// many is the answer on several coils, with links to the whole page about them and to the
// numbers as a table; left tells what was left out, line is the command line that does the same.
func (w *workshop) many(s several.Shown, left, line string) (any, error) {
	view := struct {
		Title                    string
		Parts, Figures           template.HTML
		LeftOut, Link, CSV, Line string
	}{Title: s.Title, Parts: template.HTML(workbench.WithoutFlags(string(s.Parts))), Figures: figures(s.Figures...),
		LeftOut: left, Line: line}
	for _, file := range []struct {
		write  func(io.Writer) error
		link   *string
		ending string
	}{{s.Page, &view.Link, ".html"}, {s.CSV, &view.CSV, ".csv"}} {
		if file.write == nil {
			continue
		}
		var b bytes.Buffer
		if err := file.write(&b); err != nil {
			return nil, err
		}
		*file.link = w.linkPage(strings.ToLower(s.Title)+file.ending, b.Bytes())
	}
	return shows{HTML: places{"many-answer": fragment("many", view)}}, nil
}

func (w *workshop) judgeBatch(r *http.Request, in struct {
	Coils     []string `json:"coils"`
	Limits    string   `json:"limits"` // the text of a file of limits
	Reference string   `json:"reference"`
	Tolerance string   `json:"tolerance"`
	Guard     string   `json:"guard"`
	Chart     string   `json:"chart"`
	ByFolder  bool     `json:"by_folder"`
	SameBench bool     `json:"same_bench"`
	State     string   `json:"state"`
	Ticket    string   `json:"ticket"`
	CSV       data.CSVOptions
}) (any, error) {
	dirs, err := w.dirsOf(in.Coils, 1, 10000)
	if err != nil {
		return nil, err
	}
	options := workbench.NewBatch()
	options.ByFolder, options.LimitsText, options.Tolerances = in.ByFolder, in.Limits, workbench.SplitList(in.Tolerance)
	options.SameBench = in.SameBench
	if in.Reference != "" {
		if options.Reference, err = w.coilDir(in.Reference); err != nil {
			return nil, err
		}
	}
	if err := options.Fill(map[string]string{"guard": in.Guard, "chart": in.Chart, "state": in.State}); err != nil {
		return nil, err
	}
	if err := options.Check(); err != nil {
		return nil, err
	}
	if in.Limits == "" && in.Reference == "" && in.Tolerance == "" {
		options.LimitsFile = desk.LimitsOf(dirs)
	}
	limits, err := options.ReadLimits(r.Context(), w)
	if err != nil {
		return nil, err
	}
	file := ""
	if options.LimitsFile != "" { // as coils are named
		file = w.coilOf(options.LimitsFile)
		limits.Source = file
	}
	coils, said, err := w.measured(r.Context(), dirs, true, in.Ticket)
	if err != nil {
		return nil, err
	}
	shown, err := several.Batch(options, limits, coils, in.CSV, w.Program)
	if err != nil {
		return nil, err
	}
	given := map[string]string{"reference": in.Reference, "tolerance": in.Tolerance, "guard": in.Guard,
		"chart": in.Chart, "state": in.State, "limits": file}
	for name, on := range map[string]bool{"by-folder": in.ByFolder, "same-bench": in.SameBench} {
		if on {
			given[name] = "true"
		}
	}
	return w.many(shown, said, w.line("batch", in.Coils, 1, given))
}
