// Package recorded is what is recorded of a coil, as the bench page shows it: takes, what was
// left unfinished, and what coil.toml states.
package recorded

import (
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"coilsweep/capture"
	"coilsweep/capture/atomicfile"
	"coilsweep/capture/rooted"
	"coilsweep/capture/wav"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/excite"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/notation"
)

// Take is a take as the page shows it.
type Take struct {
	Name           string
	AddedC, AddedR string // as given; empty: none
	Started        time.Time
	Usable         bool
	Flags          []Flag
	Advice         []string // what the flags do not say
	Facts          []string
	Result         *fit.TakeResult // what the coil's result says of it; nil: nothing
}

// Flag is a flag of a take and what it means.
type Flag struct{ Name, Words string }

// Added is what was connected across the coil.
func (t Take) Added() string { return added(t.AddedC, t.AddedR) }

func added(c, r string) string {
	both := slices.DeleteFunc([]string{c, r}, func(s string) bool { return s == "" })
	if len(both) == 0 {
		return "nothing added"
	}
	return strings.Join(both, ", ")
}

// Options are those by which the take is made again.
func (t Take) Options() map[string]string {
	options := map[string]string{}
	if t.AddedC != "" {
		options["added-c"] = t.AddedC
	}
	if t.AddedR != "" {
		options["added-r"] = t.AddedR
	}
	return options
}

// New is the take t as the page shows it; result is what is said of its coil, nil: nothing.
func New(t capture.Take, result *fit.Result) Take {
	v := Take{Name: t.Name, Started: t.Started, Usable: t.Unfit() == nil,
		AddedC: Text(t.Load.AddedC), AddedR: Text(t.Load.AddedR)}
	for _, f := range t.Quality.Flags {
		v.Flags = append(v.Flags, Flag{string(f), workbench.FlagAdvice(f, t)})
	}
	for _, advice := range workbench.TakeAdvice(t) {
		of := func(f Flag) bool { return advice == f.Name || strings.HasPrefix(advice, f.Name+":") }
		if !slices.ContainsFunc(v.Flags, of) {
			v.Advice = append(v.Advice, advice)
		}
	}
	add := func(format string, args ...any) {
		v.Facts = append(v.Facts, notation.Typeset(workbench.ForPage(notation.Tied(fmt.Sprintf(format, args...)))))
	}
	if result != nil {
		i := slices.IndexFunc(result.Takes, func(of fit.TakeResult) bool {
			return of.Name == t.Name && of.AudioSHA256 == t.Audio.SHA256 && of.Used
		})
		if i >= 0 {
			v.Result = &result.Takes[i]
		}
	}
	if of := v.Result; of != nil && of.Resonance.Known() {
		add("resonance %s", notation.WithU95(of.Resonance, quantity.Hertz))
		if of.Q.Known() {
			add("Q %s", notation.Rounded(of.Q, quantity.Ratio))
		}
	}
	if peak := workbench.Finite(t.Quality.PeakDBFS); peak != nil {
		add("peak level %s", notation.Level(*peak))
	}
	if snr := workbench.Measured(t.Quality.SNRDB); snr != nil {
		add("recording S/N %s", notation.WholeDecibels(*snr))
	}
	if l := t.Linearity; l != nil {
		is := map[bool]string{true: "linear", false: "not linear"}[l.Linear]
		add("%s: at %s dBFS as at %s dBFS to %.2f ± %.2f dB", is, workbench.Signed(l.LevelsDBFS[1]),
			workbench.Signed(l.LevelsDBFS[0]), math.Abs(l.DeviationDB), quantity.Coverage95*l.UDB)
	}
	if n, planned := Sweeps(t), t.Stimulus.Repeats; n < planned {
		add("%d of %d sweeps", n, planned)
	} else if n > 0 {
		add("%s", notation.Count(n, "sweep"))
	}
	if t.Bench.Source == workbench.Virtual {
		add("simulated")
	}
	if at := notation.Since(t.Started, time.Now()); at != "" {
		v.Facts = append(v.Facts, at)
	}
	return v
}

// Sweeps counts the sweeps that a take holds: of one that ended early, fewer than were
// planned.
func Sweeps(t capture.Take) int {
	if t.Alignment == nil {
		return t.Stimulus.Repeats
	}
	missing := func(start float64) bool { return math.IsNaN(start) }
	return len(slices.DeleteFunc(slices.Clone(t.Alignment.StartSample), missing))
}

// Latest is the take that was started last; nil: there is none.
func Latest(takes []Take) *Take {
	var latest *Take
	for i, t := range takes {
		if latest == nil || !t.Started.Before(latest.Started) {
			latest = &takes[i]
		}
	}
	return latest
}

// Usable are the takes that count.
func Usable(takes []Take) (good []Take) {
	for _, t := range takes {
		if t.Usable {
			good = append(good, t)
		}
	}
	return good
}

// Partial is a recording that was not finished.
type Partial struct {
	Name, Take string
	Written    time.Time // last
	Text       string
	Load       string // what was connected across the coil, in words; empty: not kept
	Useless    bool   // it holds no whole sweep
}

// NewPartial looks at the unfinished recording in dir.
func NewPartial(dir string) Partial {
	name := filepath.Base(dir)
	take, _, _ := strings.Cut(name, ".")
	p := Partial{Name: name, Take: take, Text: "an unfinished recording"}
	if info, err := rooted.Stat(dir); err == nil {
		p.Written = info.ModTime()
	}
	var s excite.Stimulus
	plan, err := capture.ReadPlan(dir)
	if plan != nil {
		s, p.Load = plan.Stimulus, added(Text(plan.Load.AddedC), Text(plan.Load.AddedR))
	} else if err == nil {
		s, err = workbench.ReadStimulus(filepath.Join(dir, capture.StimulusFile))
	}
	if err != nil {
		p.Text += ": " + err.Error()
		return p
	}
	head, err := Head(filepath.Join(dir, capture.AudioFile))
	if err != nil {
		p.Text, p.Useless = p.Text+" of which nothing can be read", true
		return p
	}
	repeats, frames := 0, int(head.Frames)
	if frames >= s.LeadInSamples+s.SweepSamples {
		repeats = min(1+(frames-s.LeadInSamples-s.SweepSamples)/s.PeriodSamples, s.Repeats)
	}
	p.Text = fmt.Sprintf("%.1f s: %d of %d sweeps", float64(frames)/float64(s.RateHz), repeats, s.Repeats)
	if p.Useless = repeats == 0; p.Useless {
		p.Text = fmt.Sprintf("%.1f s: less than one sweep, not usable", float64(frames)/float64(s.RateHz))
	}
	return p
}

// Head is what a WAV file holds, closed or not.
func Head(path string) (*wav.Reader, error) {
	f, size, err := atomicfile.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return wav.NewReader(f, size)
}

// Text is a value as it was typed; nothing for one that was not given.
func Text[T fmt.Stringer](v *T) string {
	if v == nil {
		return ""
	}
	return (*v).String()
}
