// Package several is what the bench page shows of several coils: compared, judged as a
// batch, as a pair, or as labels.
package several

import (
	"context"
	"html/template"
	"io"
	"strings"

	"coilsweep/cmd/coilsweep/internal/inguitar"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/fit/evaluation"
	"coilsweep/fit/harness"
	"coilsweep/fit/pair"
	"coilsweep/report/data"
	"coilsweep/report/figure"
	"coilsweep/report/label"
	"coilsweep/report/notation"
	"coilsweep/report/page"
)

// Shown is an answer on several coils.
type Shown struct {
	Title   string
	Parts   template.HTML
	Figures []figure.Drawing
	Page    func(io.Writer) error // the whole page, to keep
	CSV     func(io.Writer) error // the numbers as a table; nil: none
}

// Measured are the coils in dirs, each as one finds it; told hears how many are done. said
// tells of takes that were left out and, where some may fail, of coils that have no result.
func Measured(ctx context.Context, dirs []string, someMayFail bool,
	one func(dir string) (m evaluation.Measured, leftOut []string, err error), told func(done int),
) (coils []evaluation.Measured, said string, err error) {
	type found struct {
		evaluation.Measured
		leftOut []string
		err     error
	}
	all, done := make([]found, len(dirs)), 0
	evaluation.Each(ctx, dirs, func(dir string) (f found) {
		f.Measured, f.leftOut, f.err = one(dir)
		return f
	}, func(i int, f found) {
		all[i] = f
		done++
		told(done)
	})
	if ctx.Err() != nil {
		return nil, "", ctx.Err()
	}
	var left []string
	for _, f := range all {
		switch {
		case f.err != nil && !someMayFail:
			return nil, "", f.err
		case f.err != nil:
			left = append(left, f.err.Error())
		default:
			coils = append(coils, f.Measured)
			if f.leftOut != nil {
				left = append(left, f.Folder+": "+strings.Join(f.leftOut, "; "))
			}
		}
	}
	if left != nil {
		said = "Left out: " + strings.Join(left, "; ") + "."
	}
	return coils, said, nil
}

// Compared are the coils in dirs compared; in the guitar h, if there is one, its page plays
// two of them.
func Compared(ctx context.Context, o *workbench.Comparison, dirs []string, coils []evaluation.Measured,
	h *harness.Harness, csv data.CSVOptions, program string,
) (s Shown, err error) {
	result, err := o.Run(dirs, coils)
	if err != nil {
		return s, err
	}
	d := page.ComparisonDocument{Comparison: result, SortKey: o.Sort, Made: workbench.Made(), Program: program}
	if h != nil {
		if d.Listening, err = inguitar.HearCompared(ctx, inguitar.OpenStrings, *h, coils, result.Reference); err != nil {
			return s, err
		}
	}
	parts, figures, err := page.ComparisonParts(d)
	return Shown{"Comparison", parts["compared"] + parts["differences"], figures,
		func(out io.Writer) error { return page.Comparison(out, d) },
		func(out io.Writer) error { return data.ComparisonCSV(out, result, o.Sort, csv) }}, err
}

// Batch are coils judged by limits.
func Batch(o *workbench.Batch, limits workbench.Limits, coils []evaluation.Measured, csv data.CSVOptions,
	program string,
) (s Shown, err error) {
	result, err := o.Run(limits, coils)
	if err != nil {
		return s, err
	}
	d := page.BatchDocument{Batch: result, Limits: limits.Source, Made: workbench.Made(), Program: program}
	parts, figures, err := page.BatchParts(d)
	return Shown{"Batch", parts["batch"] + parts["judged"], figures,
		func(out io.Writer) error { return page.Batch(out, d) },
		func(out io.Writer) error { return data.BatchCSV(out, result, csv) }}, err
}

// Pair is the two coils of a pair, worked out together.
func Pair(r *pair.Result, csv data.CSVOptions, program string) (s Shown, err error) {
	parts, figures, err := page.PairParts(r)
	name := template.HTML(`<p class="lead" dir="auto">` + template.HTMLEscapeString(notation.Visible(r.Pair)) + "</p>")
	return Shown{"Pair", name + parts["pair"] + parts["pair numbers"], figures,
		func(out io.Writer) error { return page.Pair(out, r, workbench.Made(), program) },
		func(out io.Writer) error { return data.PairCSV(out, r, csv) }}, err
}

// Labels are labels to print of coils.
func Labels(coils []evaluation.Measured) (s Shown, err error) {
	labels, err := label.Of(coils)
	if err != nil {
		return s, err
	}
	sheet, err := label.Sheet(labels)
	return Shown{Title: "Labels", Parts: sheet,
		Page: func(out io.Writer) error { return label.Write(out, labels) }}, err
}
