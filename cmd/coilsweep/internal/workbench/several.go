package workbench

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"coilsweep/capture/atomicfile"
	"coilsweep/fit/batch"
	"coilsweep/fit/comparison"
	"coilsweep/fit/evaluation"
	"coilsweep/report/notation"
)

const groupCoils = "The coils"

// Coils gives the coils in folders: each with its result, with curves if they
// are wanted.
type Coils interface {
	Coil(ctx context.Context, dir string, curves bool) (evaluation.Measured, error)
}

// Comparison are the options of a comparison.
type Comparison struct {
	Options
	Against, Sort     string
	SameBench, States bool
}

// NewComparison has the defaults.
func NewComparison() *Comparison {
	o := &Comparison{Sort: "given"}
	o.Options = Options{
		{Name: "against", Group: groupCoils, Value: Text(&o.Against),
			Help: "the folder of the coil to compare with (default: the first)"},
		sameBench(&o.SameBench),
		{Name: "states", Group: groupCoils, Value: Switch(&o.States), Bare: "true",
			Help: "compare all states of each coil with the first"},
		{Name: "sort", Group: groupCoils, Page: true, Value: Text(&o.Sort),
			Help: "sort by given, name, or a quantity as --json calls it"},
	}
	return o
}

// Check refuses a reference that is not among the coils in dirs.
func (o *Comparison) Check(dirs []string) error {
	if o.Against != "" && o.reference(dirs) < 0 {
		return WrongValue("against", o.Against, "name one of the folders that are compared")
	}
	return nil
}

// reference is the place of the reference among dirs; -1: it is not there.
func (o *Comparison) reference(dirs []string) int {
	if o.Against == "" {
		return 0
	}
	return slices.IndexFunc(dirs, func(dir string) bool { return filepath.Clean(dir) == filepath.Clean(o.Against) })
}

// Run compares the coils, of which dirs are the folders.
func (o *Comparison) Run(dirs []string, coils []evaluation.Measured) (*comparison.Comparison, error) {
	compared := notation.Each(coils, func(m evaluation.Measured) comparison.Coil { return m.Coil })
	result, err := comparison.Compare(compared, o.reference(dirs), o.SameBench)
	if err != nil {
		return nil, err
	}
	if keys := result.SortKeys(); !slices.Contains(keys, o.Sort) {
		return nil, WrongValue("sort", o.Sort, "want one of %s", strings.Join(keys, ", "))
	}
	return result, nil
}

// Batch says how a batch is judged.
type Batch struct {
	Options
	LimitsFile string
	// LimitsText, if not empty, is the text of a file of limits, and stands for it.
	LimitsText string
	Reference  string // folder of a coil
	reference  string // the name of its option
	Tolerances []string
	Guard      float64
	SameBench  bool
	State      string
	ByFolder   bool
	Chart      string
}

// NewBatch has the defaults.
func NewBatch() *Batch {
	b := &Batch{}
	b.Options = slices.Concat(b.judging("reference"), Options{
		sameBench(&b.SameBench),
		{Name: "state", Group: groupCoils, Page: true, Value: Text(&b.State),
			Help: "judge the coils in this state, such as potted (default: as first measured)"},
		{Name: "by-folder", Group: groupCoils, Page: true, Value: Switch(&b.ByFolder), Bare: "true",
			Help: "every folder is a coil of its own, whatever its name"},
		{Name: "chart", Group: groupCoils, Page: true, Value: Text(&b.Chart),
			Help: "draw the control chart of a quantity, called as in --json"},
	})
	return b
}

// NewJudging has the options of how one coil is judged as soon as it is measured.
func NewJudging() *Batch {
	b := &Batch{}
	b.Options = append(b.judging("reference-coil"), sameBench(&b.SameBench))
	return b
}

// judging are the options that say what a coil is judged by; reference is the name of the
// one that names a coil.
func (b *Batch) judging(reference string) Options {
	b.Guard, b.reference = 1, reference
	return Options{
		{Name: "limits", Group: groupCoils, Value: Text(&b.LimitsFile), Help: "file with the limits, LIMITS.toml"},
		{Name: reference, Group: groupCoils, Value: Text(&b.Reference),
			Help: "folder of a coil around which the limits are set"},
		{Name: "tolerance", Group: groupCoils, Page: true, Value: TextList(&b.Tolerances),
			Help: "how far from the reference: 5% for all quantities, bare_q=15% for one (may be repeated)"},
		{Name: "guard", Group: groupCoils, Page: true, Value: Number(&b.Guard),
			Help: "guard band in units of U95; 0: the limits alone decide"},
	}
}

func sameBench(to *bool) *Option {
	return &Option{Name: "same-bench", Group: groupCoils, Page: true, Value: Switch(to), Bare: "true",
		Help: "the same capacitors, resistors and fixture were used for all coils: their errors cancel"}
}

// Check refuses options that do not go together.
func (b *Batch) Check() error {
	switch {
	case (b.LimitsFile != "" || b.LimitsText != "") && b.Reference != "":
		return Wrong("limits", "{limits} and {%s} contradict each other", b.reference)
	case b.Reference != "" && b.Tolerances == nil:
		return Wrong("tolerance", "a reference needs a tolerance, such as 5%%[[: {tolerance} 5%%]]")
	case b.Reference == "" && b.Tolerances != nil:
		return Wrong(b.reference, "{tolerance} belongs to a reference[[: {%s} DIR]]", b.reference)
	case !(b.Guard >= 0 && b.Guard <= 10):
		return WrongValue("guard", fmt.Sprintf("%g", b.Guard), "want 0 to 10")
	}
	if b.Chart != "" && !slices.Contains(comparison.PropertyKeys(), b.Chart) {
		return WrongValue("chart", b.Chart, "want one of %s", strings.Join(comparison.PropertyKeys(), ", "))
	}
	_, err := b.percent()
	return err
}

// percent are the tolerances by quantity; that for all is under "".
func (b *Batch) percent() (map[string]float64, error) {
	out := map[string]float64{}
	for _, text := range b.Tolerances {
		given := fmt.Sprintf("%q", text)
		key, value, found := strings.Cut(text, "=")
		if !found {
			key, value = "", text
		}
		x, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(value), "%")), 64)
		if err != nil || !strings.HasSuffix(strings.TrimSpace(value), "%") || !(x > 0 && x <= 1000) {
			return nil, WrongValue("tolerance", given, "want for example 5%% or bare_q=15%%")
		}
		if key != "" && !slices.Contains(comparison.PropertyKeys(), key) {
			return nil, WrongValue("tolerance", given, "there is no quantity %q; want one of %s", key,
				strings.Join(comparison.PropertyKeys(), ", "))
		}
		out[key] = x
	}
	return out, nil
}

// Limits are the limits by quantity, and where they come from; empty if none were
// asked for.
type Limits struct {
	Source string
	Of     map[string]batch.Limits
	Around *comparison.Coil // the coil that they are set around; nil: none
}

// ReadLimits gives the limits.
func (b *Batch) ReadLimits(ctx context.Context, coils Coils) (Limits, error) {
	switch {
	case b.LimitsText != "":
		limits, err := batch.ParseLimits([]byte(b.LimitsText))
		if err != nil {
			return Limits{}, &OptionError{Option: "limits", Err: err}
		}
		return Limits{Source: "given in the page", Of: limits}, nil
	case b.LimitsFile != "":
		data, err := atomicfile.Read(b.LimitsFile, atomicfile.MaxText)
		if err != nil {
			return Limits{}, fmt.Errorf("cannot read the limits: %w", err)
		}
		limits, err := batch.ParseLimits(data)
		if err != nil {
			return Limits{}, fmt.Errorf("%s: %w", b.LimitsFile, err)
		}
		return Limits{Source: b.LimitsFile, Of: limits}, nil
	case b.Reference != "":
		percent, err := b.percent()
		if err != nil {
			return Limits{}, err
		}
		coil, err := coils.Coil(ctx, b.Reference, false)
		if err != nil {
			return Limits{}, err
		}
		limits, err := batch.LimitsAround(coil.Result, comparison.Properties([]comparison.Coil{coil.Coil}), percent)
		if err != nil {
			return Limits{}, fmt.Errorf("%s: %w", coil.Folder, err)
		}
		coil.Folder = filepath.Clean(coil.Folder)
		return Limits{Source: "about " + coil.Name + " (" + coil.Folder + "): " + strings.Join(b.Tolerances, ", "),
			Of: limits, Around: &coil.Coil}, nil
	}
	return Limits{}, nil
}

// Run judges the coils.
func (b *Batch) Run(limits Limits, measured []evaluation.Measured) (*batch.Batch, error) {
	result, err := batch.Analyse(Specimens(measured), b.options(limits))
	if err != nil {
		return nil, err
	}
	return result, b.checkChart(result)
}

// options are those of the judgement by limits.
func (b *Batch) options(limits Limits) batch.Options {
	return batch.Options{Limits: limits.Of, Guard: b.Guard, Around: limits.Around, SameBench: b.SameBench,
		State: b.State, ByFolder: b.ByFolder}
}

// JudgeCoil judges one coil.
func (b *Batch) JudgeCoil(limits Limits, coil comparison.Coil) (batch.Verdict, []batch.Judged) {
	return batch.JudgeCoil(coil, b.options(limits))
}

// Specimens are measured coils for a batch.
func Specimens(measured []evaluation.Measured) []batch.Specimen {
	return notation.Each(measured, func(m evaluation.Measured) batch.Specimen {
		m.Folder = filepath.Clean(m.Folder) // as that of the reference
		return batch.Specimen{Coil: m.Coil, Measured: m.Measured}
	})
}

// checkChart refuses a chart that is not there.
func (b *Batch) checkChart(result *batch.Batch) error {
	if b.Chart == "" {
		return nil
	}
	for _, p := range result.Properties {
		if p.Key == b.Chart && p.Chart != nil {
			return nil
		}
	}
	return fmt.Errorf("there is no control chart of %s: it needs at least 5 coils with a known value", b.Chart)
}
