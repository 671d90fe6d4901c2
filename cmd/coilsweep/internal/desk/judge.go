package desk

import (
	"context"
	"path/filepath"
	"slices"

	"coilsweep/capture/rooted"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/fit/batch"
	"coilsweep/report/words"
)

// Request asks for the verdict on a coil that is measured, by limits about another one or by
// those in its lot. Without a coil it asks whether the lot has limits, before one is measured.
type Request struct {
	Coil      string   `json:"coil"`
	Lot       string   `json:"lot"` // its folder
	Reference string   `json:"reference"`
	Tolerance []string `json:"tolerance"` // "3%", "q=10%"
	Guard     string   `json:"guard"`
}

// Answer is the verdict, with what decided it in words.
type Answer struct {
	Coil    string        `json:"coil"`
	Verdict batch.Verdict `json:"verdict"`
	Line    string        `json:"line"`
}

// Judge judges the coil; dirOf is the folder of a coil by the name that is asked with, and
// lotOf that of a lot.
func (q Request) Judge(ctx context.Context, coils workbench.Coils, dirOf, lotOf func(string) (string, error)) (any,
	error) {
	o := workbench.NewJudging()
	var dir, lot string
	var err error
	if q.Coil != "" || q.Lot == "" {
		if dir, err = dirOf(q.Coil); err != nil {
			return nil, err
		}
		lot = filepath.Dir(dir)
	} else if lot, err = lotOf(q.Lot); err != nil {
		return nil, err
	}
	if q.Reference != "" {
		o.Reference, err = dirOf(q.Reference)
	} else if o.LimitsFile = limitsIn(lot); o.LimitsFile == "" {
		err = workbench.Wrong("reference", "Choose the coil that the others are judged by, or put limits into %s in the "+
			"folder of the lot.", LimitsFile)
	}
	if err != nil {
		return nil, err
	}
	if len(q.Tolerance) > 0 {
		o.Tolerances = q.Tolerance
	}
	if err := o.Fill(map[string]string{"guard": q.Guard}); err != nil {
		return nil, err
	}
	if err := o.Check(); err != nil {
		return nil, err
	}
	limits, err := o.ReadLimits(ctx, coils)
	if err != nil {
		return nil, err
	}
	if dir == "" {
		return Answer{Line: limits.Source}, nil
	}
	coil, err := coils.Coil(ctx, dir, false)
	if err != nil {
		return nil, err
	}
	verdict, judged := o.JudgeCoil(limits, coil.Coil)
	return Answer{q.Coil, verdict, words.JudgedLine(verdict, judged)}, nil
}

// LimitsOf is the file of limits that the folder has in which all coils in dirs lie; empty:
// there is none.
func LimitsOf(dirs []string) string {
	lot := filepath.Dir(dirs[0])
	if slices.ContainsFunc(dirs, func(dir string) bool { return filepath.Dir(dir) != lot }) {
		return ""
	}
	return limitsIn(lot)
}

func limitsIn(lot string) string {
	path := filepath.Join(lot, LimitsFile)
	if _, err := rooted.Lstat(path); err != nil {
		return ""
	}
	return path
}
