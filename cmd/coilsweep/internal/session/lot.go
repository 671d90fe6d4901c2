package session

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"coilsweep/capture"
	"coilsweep/capture/record"
	"coilsweep/fit/batch"
	"coilsweep/fit/comparison"
	"coilsweep/fit/evaluation"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// end is the word that ends a lot, as the end of what is typed does.
const end = "end"

// LabelFile is the label of a coil that passed.
const LabelFile = "label.html"

// Lot is a run over the coils of a lot, each with a folder of its own in Dir.
type Lot struct {
	Dir string
	// Coil is what is known of every coil.
	Coil capture.Coil
	// Take is the name of the one take of each coil.
	Take string
	Redo bool
	// Measure makes that take; a *capture.UnfitError is of one that is not usable.
	Measure func(ctx context.Context, dir string, redo bool) error
	// Fit evaluates a coil and keeps its result.
	Fit func(ctx context.Context, dir string) (*evaluation.Evaluation, error)
	// Judge judges it.
	Judge func(comparison.Coil) (batch.Verdict, []batch.Judged)
	// Label writes its label.
	Label func(*evaluation.Evaluation) error
	// Complaint is an error as it is said.
	Complaint func(error) string
	// Done is told of each coil.
	Done func(Coil) error
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

// Run asks for a serial number, measures and judges that coil, and so on until the word
// "end" or the end of what is typed. A coil that cannot be measured does not end it. The
// error is that of ctx while a coil was measured, or of what was to be printed.
func (l *Lot) Run(ctx context.Context, desk *Desk) (Tally, error) {
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
			desk.Say("serial %s: %s", serial, l.Complaint(err))
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
	dir = filepath.Join(l.Dir, name)
	folder, err := capture.OpenFolder(dir)
	if errors.Is(err, capture.ErrNotFolder) {
		coil := l.Coil
		coil.Name, coil.Serial = serial, serial
		return dir, l.Redo, capture.CreateFolder(dir, coil)
	} else if err != nil {
		return dir, false, err
	}
	if folder.Coil.Serial != serial {
		return dir, false, fmt.Errorf("%s is the folder of serial %q already", dir, folder.Coil.Serial)
	}
	if there, err := folder.ReadTake(l.Take); err == nil && !l.Redo {
		if there.Unfit() == nil {
			return dir, false, &DoneError{dir}
		}
		return dir, true, nil
	}
	return dir, l.Redo, nil
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
	if err := l.Measure(ctx, dir, redo); err != nil {
		return unusable(err)
	}
	e, err := l.Fit(ctx, dir)
	if err == nil {
		err = e.Unfitness()
	}
	if err != nil {
		return unusable(err)
	}
	coil.Verdict, coil.Judged = l.Judge(e.Measured().Coil)
	coil.Line = words.JudgedLine(coil.Verdict, coil.Judged)
	if coil.Verdict == batch.Pass {
		return coil, l.Label(e)
	}
	return coil, nil
}
