package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"coilsweep/cmd/coilsweep/benchpage"
	"coilsweep/fit/batch"
	"coilsweep/report/data"
	"coilsweep/report/figure"
	"coilsweep/report/page"
)

// mostDrawn is for how many coils the responses are drawn over each other: as
// many as are kept in memory.
const mostDrawn = 8

// resultOf is the result of one coil: as it is in memory where its curves are
// wanted, else as it lies in its folder.
func (w *workshop) resultOf(ctx context.Context, c *console, dir string, curves bool) (measuredCoil, string, error) {
	coil, without := measuredCoil{}, ""
	if !curves {
		var err error
		if coil, without, err = resultOf(ctx, c, dir, false); err != nil {
			return coil, "", err
		}
	} else {
		a, err := w.coils.get(ctx, dir)
		if err != nil {
			return coil, "", fmt.Errorf("%s: %w", w.coilOf(dir), err)
		}
		coil, without = newMeasuredCoil(a.folder.Coil.Name, dir, a.result), strings.Join(a.unfit, "; ")
	}
	coil.Folder = w.coilOf(dir)
	return coil, without, nil
}

// dirsOf are the folders of coils, each once.
func (w *workshop) dirsOf(coils []string, least, most int) ([]string, error) {
	if len(coils) < least || len(coils) > most {
		return nil, &benchpage.Error{Status: http.StatusUnprocessableEntity, Field: "coils",
			Text: fmt.Sprintf("%d to %d coils are wanted, not %d", least, most, len(coils))}
	}
	var dirs []string
	for _, coil := range coils {
		dir, err := w.coilDir(coil)
		if err != nil {
			return nil, err
		}
		dirs = append(dirs, dir)
	}
	if err := someDirs(least)(&cobra.Command{Use: "this"}, dirs); err != nil {
		return nil, &benchpage.Error{Status: http.StatusUnprocessableEntity, Field: "coils", Text: err.Error()}
	}
	return dirs, nil
}

func (w *workshop) compareCoils(r *http.Request) (any, error) {
	in, err := ask[struct {
		Coils     []string `json:"coils"`
		Against   string   `json:"against"`
		SameBench bool     `json:"same_bench"`
		Sort      string   `json:"sort"`
	}](r)
	if err != nil {
		return nil, err
	}
	dirs, err := w.dirsOf(in.Coils, 2, 50)
	if err != nil {
		return nil, err
	}
	var options comparing
	cmd := newOptions(r)
	options.add(cmd.Flags())
	if in.Against != "" {
		if in.Against, err = w.coilDir(in.Against); err != nil {
			return nil, err
		}
	}
	if err := fill(cmd, map[string]string{"against": in.Against, "same-bench": strconv.FormatBool(in.SameBench), "sort": in.Sort}); err != nil {
		return nil, err
	}
	result, unfit, err := options.run(r.Context(), w.console(), dirs, len(dirs) <= mostDrawn, w.resultOf)
	if err != nil {
		return nil, err
	}
	document := page.ComparisonDocument{Comparison: result, SortKey: options.sortKey, Made: time.Now(), Program: programName()}
	figures, sentences, err := page.DrawComparison(document)
	if err != nil {
		return nil, err
	}
	return w.many("comparison", figures, sentences, unfit,
		func(out io.Writer) error { return data.ComparisonJSON(out, result) },
		func(out io.Writer) error { return page.Comparison(out, document) })
}

// many is the answer on several coils: what as --json writes it, its figures,
// and a link to its page.
func (w *workshop) many(what string, figures []figure.Drawing, sentences []string, unfit error, numbers, page func(io.Writer) error) (any, error) {
	var text, html bytes.Buffer
	if err := numbers(&text); err != nil {
		return nil, err
	}
	if err := page(&html); err != nil {
		return nil, err
	}
	if unfit != nil {
		sentences = append(sentences, unfit.Error()+".")
	}
	return map[string]any{
		what: json.RawMessage(text.Bytes()), "figures": append([]figure.Drawing{}, figures...), "sentences": append([]string{}, sentences...),
		"link": w.linkPage(what+".html", html.Bytes()),
	}, nil
}

func (w *workshop) judgeBatch(r *http.Request) (any, error) {
	in, err := ask[struct {
		Coils     []string `json:"coils"`
		Limits    string   `json:"limits"` // the text of a file of limits
		Reference string   `json:"reference"`
		Tolerance []string `json:"tolerance"`
		Guard     string   `json:"guard"`
		Chart     string   `json:"chart"`
		ByFolder  bool     `json:"by_folder"`
	}](r)
	if err != nil {
		return nil, err
	}
	dirs, err := w.dirsOf(in.Coils, 1, 10000)
	if err != nil {
		return nil, err
	}
	var flags batchFlags
	cmd := newOptions(r)
	flags.add(cmd.Flags())
	if in.Reference != "" {
		if in.Reference, err = w.coilDir(in.Reference); err != nil {
			return nil, err
		}
	}
	if err := fill(cmd, map[string]string{"reference": in.Reference, "guard": in.Guard, "chart": in.Chart, "by-folder": strconv.FormatBool(in.ByFolder)}); err != nil {
		return nil, err
	}
	for _, t := range in.Tolerance {
		if err := cmd.Flags().Set("tolerance", t); err != nil {
			return nil, usageError{flagError(cmd, err)}
		}
	}
	if in.Limits != "" && in.Reference != "" {
		return nil, usagef("--limits and --reference contradict each other")
	}
	if err := flags.check(); err != nil {
		return nil, err
	}
	limits, source, err := flags.read(cmd, w.console(), w.resultOf)
	if in.Limits != "" {
		source = "given in the page"
		if limits, err = batch.ParseLimits([]byte(in.Limits)); err != nil {
			return nil, &benchpage.Error{Status: http.StatusUnprocessableEntity, Field: "limits", Text: err.Error()}
		}
	}
	if err != nil {
		return nil, err
	}
	specimens, unfit, err := specimensOf(cmd, w.console(), dirs, len(dirs) <= mostDrawn, w.resultOf)
	if err != nil {
		return nil, err
	}
	result, err := batch.Analyse(specimens, batch.Options{Limits: limits, Guard: flags.guard, ByFolder: flags.byFolder})
	if err != nil {
		return nil, errors.Join(err, unfit)
	}
	if err := flags.checkChart(result); err != nil {
		return nil, err
	}
	document := page.BatchDocument{Batch: result, Limits: source, Made: time.Now(), Program: programName()}
	figures, sentences, err := page.DrawBatch(document)
	if err != nil {
		return nil, err
	}
	return w.many("batch", figures, sentences, unfit,
		func(out io.Writer) error { return data.BatchJSON(out, result) },
		func(out io.Writer) error { return page.Batch(out, document) })
}
