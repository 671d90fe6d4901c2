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

	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/fit"
	"coilsweep/fit/evaluation"
	"coilsweep/report/figure"
	"coilsweep/report/label"
	"coilsweep/report/notation"
	"coilsweep/report/page"
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

// measured are the coils in dirs, and tells the page that has the ticket how far it is. said
// tells of takes that were left out and, where some may fail, of coils that have no result.
func (w *workshop) measured(ctx context.Context, dirs []string, someMayFail bool, ticket string) (
	coils []evaluation.Measured, said string, err error,
) {
	type one struct {
		evaluation.Measured
		leftOut []string
		err     error
	}
	all, done, told := make([]one, len(dirs)), 0, time.Time{}
	evaluation.Each(ctx, dirs, func(dir string) (o one) {
		o.Measured, o.leftOut, o.err = w.measuredCoil(ctx, dir, len(dirs) <= mostDrawn)
		return o
	}, func(i int, o one) {
		all[i] = o
		if done++; ticket != "" && time.Since(told) > progressEvery {
			told = time.Now()
			w.publish("many", map[string]any{"ticket": ticket, "done": done, "of": len(dirs)})
		}
	})
	if ctx.Err() != nil {
		return nil, "", ctx.Err()
	}
	var left []string
	for _, o := range all {
		switch {
		case o.err != nil && !someMayFail:
			return nil, "", o.err
		case o.err != nil:
			left = append(left, o.err.Error())
		default:
			coils = append(coils, o.Measured)
			if o.leftOut != nil {
				left = append(left, o.Folder+": "+strings.Join(o.leftOut, "; "))
			}
		}
	}
	if left != nil {
		said = "left out: " + strings.Join(left, "; ")
	}
	return coils, said, nil
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
	coils, said, err := w.measured(r.Context(), dirs, false, in.Ticket)
	if err != nil {
		return nil, err
	}
	result, err := options.Run(dirs, coils)
	if err != nil {
		return nil, err
	}
	document := page.ComparisonDocument{Comparison: result, SortKey: options.Sort, Made: workbench.Made(),
		Program: w.Program}
	if in.Harness != nil {
		h, err := guitarOf(in.Harness)
		if err != nil {
			return nil, err
		}
		if document.Listening, err = workbench.HearCompared(r.Context(), workbench.OpenStrings, h, coils,
			result.Reference); err != nil {
			return nil, err
		}
	}
	parts, figures, err := page.ComparisonParts(document)
	if err != nil {
		return nil, err
	}
	return w.many(manyView{Title: "Comparison", Parts: partOf(parts, "compared", "differences"), LeftOut: said},
		figures,
		func(out io.Writer) error { return page.Comparison(out, document) })
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
	labels, err := label.Of(coils)
	if err != nil {
		return nil, err
	}
	sheet, err := label.Sheet(labels)
	if err != nil {
		return nil, err
	}
	return w.many(manyView{Title: "Labels", Parts: sheet, LeftOut: said, Line: w.line("label", in.Coils, 1, nil)}, nil,
		func(out io.Writer) error { return label.Write(out, labels) })
}

// manyView is what is told of several coils.
type manyView struct {
	Title          string
	Parts, Figures template.HTML
	LeftOut        string // what was left out, and why
	Link           string // to the whole page
	Line           string // the command line that does the same
}

// many is the answer on several coils, with a link to the whole page about them.
func (w *workshop) many(v manyView, drawings []figure.Drawing, whole func(io.Writer) error) (any, error) {
	var html bytes.Buffer
	if err := whole(&html); err != nil {
		return nil, err
	}
	v.Link, v.Figures = w.linkPage(strings.ToLower(v.Title)+".html", html.Bytes()), figures(drawings...)
	if v.LeftOut != "" {
		v.LeftOut = notation.UpperFirst(v.LeftOut) + "."
	}
	return shows{HTML: places{"many-answer": fragment("many", v)}}, nil
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
}) (any, error) {
	dirs, err := w.dirsOf(in.Coils, 1, 10000)
	if err != nil {
		return nil, err
	}
	options := workbench.NewBatch()
	options.ByFolder, options.LimitsText, options.Tolerances = in.ByFolder, in.Limits, splitList(in.Tolerance)
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
	limits, err := options.ReadLimits(r.Context(), w)
	if err != nil {
		return nil, err
	}
	coils, said, err := w.measured(r.Context(), dirs, true, in.Ticket)
	if err != nil {
		return nil, err
	}
	result, err := options.Run(limits, coils)
	if err != nil {
		return nil, err
	}
	given := map[string]string{"reference": in.Reference, "tolerance": in.Tolerance, "guard": in.Guard,
		"chart": in.Chart, "state": in.State}
	for name, on := range map[string]bool{"by-folder": in.ByFolder, "same-bench": in.SameBench} {
		if on {
			given[name] = "true"
		}
	}
	line := w.line("batch", in.Coils, 1, given)
	document := page.BatchDocument{Batch: result, Limits: limits.Source, Made: workbench.Made(), Program: w.Program}
	parts, figures, err := page.BatchParts(document)
	if err != nil {
		return nil, err
	}
	return w.many(manyView{Title: "Batch", Parts: partOf(parts, "batch", "judged"), LeftOut: said, Line: line}, figures,
		func(out io.Writer) error { return page.Batch(out, document) })
}
