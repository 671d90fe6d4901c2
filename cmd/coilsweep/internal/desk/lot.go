package desk

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"coilsweep/capture"
	"coilsweep/capture/record"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/fit/batch"
	"coilsweep/fit/evaluation"
	"coilsweep/report/label"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// end is the word that ends a lot, as the end of what is typed does.
const end = "end"

// LabelFile is the label of a coil that passed.
const LabelFile = "label.html"

// Bench is where coils are measured.
type Bench interface {
	workbench.Coils
	// Take makes a take of the coil in dir; one that is kept and not usable is a
	// *capture.UnfitError.
	Take(ctx context.Context, options *workbench.Measurement, dir string) error
	// Fit fits the coil in dir and keeps its result.
	Fit(ctx context.Context, dir string) (*evaluation.Evaluation, error)
	// Complaint is an error as it is said.
	Complaint(error) string
}

// Lot is a run over the coils of a lot, each with a folder of its own in one for all.
type Lot struct {
	workbench.Options
	measurement *workbench.Measurement
	judging     *workbench.Batch
	coil        capture.Coil // what is known of every coil
	redo        bool
	// Done is told of each coil.
	Done func(Coil) error

	dir    string
	bench  Bench
	limits workbench.Limits
}

const groupLot = "The coils"

// NewLot has the defaults.
func NewLot(program string) *Lot {
	l := &Lot{measurement: workbench.NewMeasurement(program), judging: workbench.NewJudging()}
	l.measurement.Take.Name = "bare"
	l.Options = slices.Concat(l.judging.Options, workbench.Options{
		{Name: "redo", Group: groupLot, Value: workbench.Switch(&l.redo), Bare: "true",
			Help: "measure serial numbers again; earlier takes are kept as bare.aside"},
		{Name: "customer", Group: groupLot, Value: workbench.Text(&l.coil.Customer), Help: "who the lot is for"},
		{Name: "lot", Group: groupLot, Value: workbench.Text(&l.coil.Lot),
			Help: "what the lot is called (default: its folder)"},
	}, l.measurement.Options.Without("take", "state", "redo", "added-c", "added-r", "after", "until", "levels"))
	return l
}

// LimitsFile are the limits of a lot that states no others, in its folder.
const LimitsFile = "limits.toml"

// plan finds the limits of the lot in dir, and refuses what does not go together.
func (l *Lot) plan(ctx context.Context, dir string, bench Bench) error {
	l.dir, l.bench = dir, bench
	whole, err := filepath.Abs(dir)
	if err != nil {
		return err
	}
	l.coil.Lot = cmp.Or(l.coil.Lot, filepath.Base(whole))
	if info, err := os.Stat(dir); err == nil && !info.IsDir() {
		return fmt.Errorf("%s is a file: a lot is a folder", dir)
	}
	if path := filepath.Join(dir, LimitsFile); l.judging.LimitsFile == "" && l.judging.Reference == "" {
		if _, err := os.Stat(path); err == nil {
			l.judging.LimitsFile = path
		} else if l.judging.Tolerances == nil {
			return &workbench.UsageError{Err: fmt.Errorf("what are coils judged by? Use {limits}, or {reference-coil} "+
				"with {tolerance}, or write %s", path)}
		}
	}
	if err := l.judging.Check(); err != nil {
		return err
	}
	l.limits, err = l.judging.ReadLimits(ctx, bench)
	return err
}

// NotUsable is the verdict on a coil whose take is of no use.
const NotUsable batch.Verdict = "not usable"

// Coil is a coil of the lot, judged.
type Coil struct {
	Serial, Folder string
	Verdict        batch.Verdict
	Line           string // the verdict and what decided it
	Judged         []batch.Judged
}

// Tally counts the verdicts.
type Tally map[batch.Verdict]int

// String is the tally in words.
func (t Tally) String() string {
	total := 0
	var parts []string
	for _, v := range []batch.Verdict{batch.Pass, batch.Fail, batch.Undecided, batch.Unknown, NotUsable} {
		if n := t[v]; n > 0 {
			total += n
			parts = append(parts, fmt.Sprintf("%d %s", n, v))
		}
	}
	if parts == nil {
		return "no coil"
	}
	return notation.Count(total, "coil") + ": " + strings.Join(parts, ", ")
}

// Unfit is the error of a run in which a coil failed or could not be judged by its take.
func (t Tally) Unfit() error {
	if t[batch.Fail]+t[NotUsable] == 0 {
		return nil
	}
	return &capture.UnfitError{What: t.String()}
}

// bells are how often the bell rings.
var bells = map[batch.Verdict]int{batch.Pass: 1, batch.Undecided: 2, batch.Unknown: 2, batch.Fail: 3, NotUsable: 3}

// Run is a run over the lot in dir. It asks for a serial number, measures and judges that
// coil, and so on until the word "end" or the end of what is typed. A coil that cannot be
// measured does not end it. The error is that of ctx while a coil was measured, or of what
// was to be printed, or says that the limits are of no use.
func (l *Lot) Run(ctx context.Context, dir string, bench Bench, desk *Desk) (Tally, error) {
	if err := l.plan(ctx, dir, bench); err != nil {
		return nil, err
	}
	return l.run(ctx, desk)
}

func (l *Lot) run(ctx context.Context, desk *Desk) (Tally, error) {
	tally := Tally{}
	for {
		serial, err := desk.Ask(ctx, "%s; serial number, typed or scanned (%q ends)", tally, end)
		if err != nil || serial == end {
			return tally, nil // Ctrl-C between two coils is an end like others
		}
		if serial == "" {
			continue
		}
		coil, err := l.one(ctx, serial)
		switch {
		case ctx.Err() != nil:
			if _, recording := errors.AsType[*record.PartialError](err); recording {
				return tally, fmt.Errorf("%s; serial %s: %w", tally, serial, err)
			}
			return tally, fmt.Errorf("%s; serial %s was interrupted: what was recorded is kept, --redo judges it anew",
				tally, serial)
		case err != nil:
			desk.Say("serial %s: %s", serial, l.bench.Complaint(err))
			desk.Bell(bells[NotUsable])
			continue
		}
		tally[coil.Verdict]++
		desk.Bell(bells[coil.Verdict])
		if err := l.Done(coil); err != nil {
			return tally, err
		}
	}
}

// folderOf is the name of a folder for a serial number: letters, digits, point, - and _,
// with - for the rest.
func folderOf(serial string) string {
	return strings.Trim(strings.Map(func(c rune) rune {
		switch {
		case c >= 'a' && c <= 'z', c >= 'A' && c <= 'Z', c >= '0' && c <= '9', strings.ContainsRune("._-", c):
			return c
		}
		return '-'
	}, serial), ".-")
}

// start opens the folder of a coil, or makes it. redo: its take is to be replaced.
func (l *Lot) start(serial string) (dir string, redo bool, err error) {
	name := folderOf(serial)
	if name == "" {
		return "", false, errors.New("a serial number has letters or digits")
	}
	dir = filepath.Join(l.dir, name)
	folder, err := capture.OpenFolder(dir)
	if errors.Is(err, capture.ErrNotFolder) {
		coil := l.coil
		coil.Name, coil.Serial = serial, serial
		return dir, l.redo, capture.CreateFolder(dir, coil)
	} else if err != nil {
		return dir, false, err
	}
	if folder.Coil.Serial != serial {
		return dir, false, fmt.Errorf("%s is the folder of serial %q already", dir, folder.Coil.Serial)
	}
	if there, err := folder.ReadTake(l.measurement.Take.Name); err == nil && !l.redo {
		if there.Unfit() == nil {
			return dir, false, &DoneError{dir}
		}
		return dir, true, nil
	}
	return dir, l.redo, nil
}

// DoneError says that a coil was measured already.
type DoneError struct{ Dir string }

func (e *DoneError) Error() string { return e.Dir + " is measured already" }

// one measures and judges one coil.
func (l *Lot) one(ctx context.Context, serial string) (Coil, error) {
	dir, redo, err := l.start(serial)
	if err != nil {
		return Coil{}, err
	}
	coil := Coil{Serial: serial, Folder: dir, Verdict: NotUsable}
	unusable := func(err error) (Coil, error) {
		if _, ok := errors.AsType[*capture.UnfitError](err); !ok {
			return coil, err
		}
		coil.Line = string(NotUsable) + ": " + err.Error()
		return coil, nil
	}
	// A label of before says nothing of this measurement.
	if err := os.Remove(filepath.Join(dir, LabelFile)); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return coil, err
	}
	l.measurement.Redo = redo
	if err := l.bench.Take(ctx, l.measurement, dir); err != nil {
		return unusable(err)
	}
	e, err := l.bench.Fit(ctx, dir)
	if err == nil {
		err = e.Unfitness()
	}
	if err != nil {
		return unusable(err)
	}
	coil.Verdict, coil.Judged = l.judging.JudgeCoil(l.limits, e.Measured().Coil)
	coil.Line = words.JudgedLine(coil.Verdict, coil.Judged)
	if coil.Verdict != batch.Pass {
		return coil, nil
	}
	labels, err := label.Of([]evaluation.Measured{e.Measured()})
	if err == nil {
		err = e.Write(LabelFile, func(w io.Writer) error { return label.Write(w, labels) })
	}
	return coil, err
}
