package evaluation_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"coilsweep/capture"
	"coilsweep/capture/record"
	"coilsweep/capture/virtual"
	"coilsweep/excite"
	"coilsweep/fit"
	"coilsweep/fit/evaluation"
	"coilsweep/fit/joint"
)

// switching is a bench whose circuit becomes another in mid-take.
type switching struct {
	record.Recorder
	then record.Recorder
	at   int // frame
}

func (s switching) Record(ctx context.Context, play []float32, frames int, sink func([]float32) error) (record.Session,
	error) {
	var audio [2][]float32
	for i, r := range []record.Recorder{s.Recorder, s.then} {
		session, err := r.Record(ctx, play, frames, func(block []float32) error {
			audio[i] = append(audio[i], block...)
			return nil
		})
		if err != nil {
			return session, err
		}
	}
	at := s.at * s.Format().Channels
	return record.Session{}, sink(append(audio[0][:at], audio[1][at:]...))
}

// statedTake is a take with what is stated of it, and what is true.
type statedTake struct{ name, stated, true string }

// Wrong takes of a coil are named, with the exit status of unusable data, and no
// number is far off in silence: the numbers of each take stay those of its own
// circuit. The log is the table: what is said, and how far L, C and R are off in
// U95, without the comparison of takes and sweeps, and with it.
func TestWrongTakes(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("simulates some minutes of sound")
	}
	right := []statedTake{{"bare", "", ""}, {"c220", "220p 1%", "220p 1%"}, {"c470", "470p 1%", "470p 1%"}}
	but := func(changes ...string) []statedTake {
		takes := slices.Clone(right)
		for i := 0; i < len(changes); i += 2 {
			at := slices.IndexFunc(takes, func(s statedTake) bool { return s.name == changes[i] })
			takes[at].true = changes[i+1]
		}
		return takes
	}
	for _, tt := range []struct {
		name  string
		takes []statedTake
		says  string // in the error; empty: there is none
		// sound: L, C and R are known and right nevertheless.
		sound bool
	}{
		{"nothing", right, "", true},
		{"capacitor forgotten", but("c470", ""), `take "c470": same-as bare`, true},
		{"capacitor stayed on", but("bare", "470p 1%"), `take "bare": same-as c470`, true},
		{"half the capacitance", but("c470", "235p"), `take "c470": part-doubted`, false},
		{"ten times the capacitance", but("c220", "2n2"), `take "c220": part-doubted`, false},
		{"labels swapped", but("c220", "470p 1%", "c470", "220p 1%"), `take "c220": swapped-with c470`, false},
		{"30 pF more from sweep 3 of 4 on", but("c470", "470p 1% then 500p"), `take "c470": changed`, true},
		{"falls off in sweep 3 of 4", but("c470", "470p 1% then "), `take "c470": changed`, true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			folder, truths := wrongFolder(t, tt.takes)
			e, err := evaluation.Coil(t.Context(), folder.Dir, evaluation.Options{})
			if err != nil {
				t.Fatal(err)
			}
			before := e.Result
			if tt.says != "" {
				before = unguarded(t, e)
			}
			said := "-"
			if err := e.Unfitness(); err != nil {
				said = err.Error()
				if _, unfit := errors.AsType[*capture.UnfitError](err); !unfit {
					t.Errorf("%v is no *capture.UnfitError", err)
				}
			}
			t.Logf("%s | %s | before %s | now %s", tt.name, said, distances(before, truths[0]), distances(e.Result, truths[0]))
			if (said == "-") != (tt.says == "") || !strings.Contains(said, tt.says) {
				t.Errorf("says %q, want %q", said, tt.says)
			}
			if tt.says != "" && !strings.Contains(tt.says, "changed") && !strings.Contains(e.Result.Warnings[0], "take ") {
				t.Errorf("the first warning is %q", e.Result.Warnings[0])
			}
			if d := distances(e.Result, truths[0]); tt.sound && d.worst() > 1 {
				t.Errorf("off by %s U95", d)
			}
			for i, r := range e.Result.Takes {
				if strings.Contains(tt.takes[i].true, "then") {
					continue
				}
				if d := apart(r.Resonance, truths[i].ResonanceHz); !(d <= 1) || !r.Q.Known() || !r.Peak.Known() {
					t.Errorf("take %s: resonance %+v is %.2f U95 off %.1f Hz, Q %+v", r.Name, r.Resonance, d,
						truths[i].ResonanceHz, r.Q)
				}
			}
			// The same from result.json.
			if err := e.Save(func(w io.Writer) error { return nil }); err != nil {
				t.Fatal(err)
			}
			again, err := evaluation.Coil(t.Context(), folder.Dir, evaluation.Options{})
			if err != nil {
				t.Fatal(err)
			}
			if (again.Unfitness() == nil) != (tt.says == "") {
				t.Errorf("the kept result says %v", again.Unfitness())
			}
		})
	}
}

// wrongFolder records takes, in the order of their names.
func wrongFolder(t *testing.T, takes []statedTake) (*capture.Folder, []virtual.Truth) {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "coil")
	coil := capture.Coil{Schema: capture.CoilSchema, Name: "invented", DCR: ohms(t, "7.85k@20C 0.5%")}
	if err := capture.CreateFolder(dir, coil); err != nil {
		t.Fatal(err)
	}
	folder, err := capture.OpenFolder(dir)
	if err != nil {
		t.Fatal(err)
	}
	request := excite.DefaultRequest()
	request.SweepS, request.Repeats = 0.7, 4
	stimulus, err := excite.Design(request)
	if err != nil {
		t.Fatal(err)
	}
	b := virtual.Default()
	loadOf := func(added string) (l capture.Load) {
		if added != "" {
			l.AddedC = farad(t, added)
		}
		return l
	}
	var truths []virtual.Truth
	for i, s := range takes {
		before, after, switches := strings.Cut(s.true, " then ")
		recorder, err := b.Recorder(loadOf(before), stimulus.RateHz, uint64(20+i))
		if err != nil {
			t.Fatal(err)
		}
		truths = append(truths, recorder.Truth())
		var bench record.Recorder = recorder
		if switches {
			then, err := b.Recorder(loadOf(after), stimulus.RateHz, uint64(20+i))
			if err != nil {
				t.Fatal(err)
			}
			bench = switching{recorder, then, stimulus.RepeatStart(2)}
		}
		take := capture.Take{Name: s.name, Program: "test", Load: loadOf(s.stated), Stimulus: stimulus}
		take.Drive, take.Reference = b.Setup()
		take.Load.FixtureC, take.Load.FixtureR = farad(t, "65p 5%"), ohms(t, "1M 1%")
		if _, err := record.Run(t.Context(), bench, folder, take, record.Options{}); err != nil {
			t.Fatal(err)
		}
	}
	return folder, truths
}

// unguarded is the fit of all takes as if nothing of them were known to be wrong.
func unguarded(t *testing.T, e *evaluation.Evaluation) *fit.Result {
	t.Helper()
	var inputs []joint.Take
	for _, take := range e.Takes {
		take.Quality.Flags = slices.DeleteFunc(slices.Clone(take.Quality.Flags), func(f capture.Flag) bool {
			return f == capture.Changed
		})
		inputs = append(inputs, evaluation.Estimate(t.Context(), e.Folder, take))
	}
	result, err := joint.Analyse(t.Context(), e.Folder.Coil, inputs, fit.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return result
}

// distance is how far L, C with nothing added, and R are off, in U95; NaN where they are not known.
type distance [3]float64

func distances(r *fit.Result, truth virtual.Truth) distance {
	return distance{apart(r.Inductance, truth.InductanceH), apart(r.Capacitance, truth.CapacitanceF-truth.AddedF),
		apart(r.Resistance, truth.ResistanceOhm)}
}

func apart(q fit.Quantity, truth float64) float64 {
	if !q.Known() {
		return math.NaN()
	}
	return math.Abs(q.Value-truth) / q.U95
}

func (d distance) worst() float64 {
	worst := 0.0
	for _, x := range d {
		if !(x <= worst) {
			worst = x
		}
	}
	return worst
}

func (d distance) String() string { return fmt.Sprintf("L %.2f, C %.2f, R %.2f", d[0], d[1], d[2]) }
