package desk

import (
	"context"

	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/fit/batch"
	"coilsweep/report/words"
)

// Request asks for the verdict on a coil that is measured, by limits about another one.
type Request struct {
	Coil      string   `json:"coil"`
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

// Judge judges the coil; dirOf is the folder of a coil by the name that is asked with.
func (q Request) Judge(ctx context.Context, coils workbench.Coils, dirOf func(string) (string, error)) (any, error) {
	dir, err := dirOf(q.Coil)
	if err != nil {
		return nil, err
	}
	o := workbench.NewJudging()
	if o.Reference, err = dirOf(q.Reference); err != nil {
		return nil, err
	}
	o.Tolerances = q.Tolerance
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
	coil, err := coils.Coil(ctx, dir, false)
	if err != nil {
		return nil, err
	}
	verdict, judged := o.JudgeCoil(limits, coil.Coil)
	return Answer{q.Coil, verdict, words.JudgedLine(verdict, judged)}, nil
}
