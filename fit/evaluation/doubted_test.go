package evaluation

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"coilsweep/capture"
	"coilsweep/capture/record"
	"coilsweep/capture/virtual"
	"coilsweep/excite"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/joint"
)

// several is a coil folder with the takes of before.
var several = sync.OnceValue(func() string {
	original() // has made temporary
	dir := filepath.Join(temporary, "many")
	check(capture.CreateFolder(dir, capture.Coil{Name: "invented"}))
	for _, name := range before {
		addTake(dir, name, name)
	}
	// As after the last of them: its responses are kept.
	_, _, err := Contradictions(context.Background(), must(capture.OpenFolder(dir)), before[len(before)-1], nil)
	check(err)
	return dir
})

// before are takes by what is added in them.
var before = []string{"bare", "100p", "220p", "330p", "470p", "680p", "1n", "150p", "560p"}

// addTake makes the take called stated, with a true part that may be another.
func addTake(dir, stated, true string) {
	bench := virtual.Default()
	drive, reference := bench.Setup()
	fixtureC, fixtureR := must(quantity.ParseCapacitance("65p 5%")), must(quantity.ParseResistance("1M 1%"))
	load := func(text string) capture.Load {
		l := capture.Load{FixtureC: &fixtureC, FixtureR: &fixtureR}
		if text != "bare" {
			l.AddedC = new(must(quantity.ParseCapacitance(text + " 1%")))
		}
		return l
	}
	take := capture.Take{Name: stated, Program: program.Program, Drive: drive, Reference: reference,
		Stimulus: must(excite.Design(short())), Load: load(stated)}
	recorder := must(bench.Recorder(load(true), take.Stimulus.RateHz, 3))
	must(record.Run(context.Background(), recorder, must(capture.OpenFolder(dir)), take, record.Options{}))
}

// many is a copy of several with a DC resistance, in which the audio was replaced so that
// nobody can tell without reading it.
func many(t *testing.T, dcr string) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "coil")
	check(os.CopyFS(dir, os.DirFS(several())))
	for _, name := range before {
		info := must(os.Stat(audioOf(several(), name)))
		check(os.WriteFile(audioOf(dir, name), make([]byte, info.Size()), 0o666))
		check(os.Chtimes(audioOf(dir, name), info.ModTime(), info.ModTime()))
	}
	path := filepath.Join(dir, "coil.toml")
	check(os.WriteFile(path, append(must(os.ReadFile(path)), fmt.Sprintf("\ndcr = %q\n", dcr)...), 0o666))
	return dir
}

// A take into a folder of many takes estimates itself alone and is fitted with a few, of
// which one has nearly its load; what is wrong with what is stated is said as with few.
func TestTakeAmongMany(t *testing.T) {
	const last = "475p"
	for _, tt := range []struct {
		name, dcr, true string
		names           string // what is named as stated wrongly; "": nothing is
		compared        string // what the comparison of resonances says; "": nothing
	}{
		{"right", "7.85k@20C 0.5%", last, "", ""},
		{"DC resistance", "7k@20C 0.5%", last, "DC resistance", ""},
		{"a part of the last", "7.85k@20C 0.5%", "520p", last, ""},
		{"forgotten", "7.85k@20C 0.5%", "bare", "", "has the resonance of take bare"},
		{"a tenth", "7.85k@20C 0.5%", "47p", "", "has the effect of 48 pF"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			dir := many(t, tt.dcr)
			addTake(dir, last, tt.true)
			var with []string
			search = func(ctx context.Context, c capture.Coil, in []joint.Take, o fit.Options) (*joint.Fitted, error) {
				with = nil
				for _, t := range in {
					with = append(with, t.Name)
				}
				return joint.Fit(ctx, c, in, o)
			}
			t.Cleanup(func() { search = joint.Fit })
			said, seen, err := Contradictions(t.Context(), must(capture.OpenFolder(dir)), last, nil)
			check(err)
			for _, name := range append(slices.Clone(before), last) {
				if _, ok := seen.Input(name); !ok {
					t.Errorf("the response of take %s was not kept", name)
				}
			}
			if all := strings.Join(said, "; "); (tt.compared == "") != (said == nil) || !strings.Contains(all, tt.compared) {
				t.Errorf("the comparison says %q, want %q", all, tt.compared)
			}
			facts, text := seen.Doubted(t.Context(), last, program.Program)
			named := strings.Join(facts, "; ")
			t.Logf("with %s: %s: %s", with, named, text)
			if (tt.names == "") != (facts == nil) || !strings.Contains(named, tt.names) || (facts != nil) != (text != "") {
				t.Errorf("%q is named, with %q, want %q", named, text, tt.names)
			}
			if len(with) > enough {
				t.Errorf("%d takes were fitted", len(with))
			}
			if tt.compared == "" && (!slices.Contains(with, last) || !slices.Contains(with, "470p") ||
				!slices.Contains(with, "bare") || !slices.Contains(with, "1n")) {
				t.Errorf("fitted with %q", with)
			}
		})
	}
}

// Takes that were edited or made anew are not taken from what was kept.
func TestResponsesOfOtherTakesAreNotUsed(t *testing.T) {
	folder := must(capture.OpenFolder(many(t, "7.85k@20C 0.5%")))
	path := filepath.Join(folder.TakeDir("220p"), capture.TakeFile)
	text := must(os.ReadFile(path))
	check(os.WriteFile(path, fmt.Appendf(text, "\n"), 0o666))
	held := must(folder.Fingerprint())
	kept := readResponses(folder.Dir, held)
	for _, name := range before {
		if used := kept.response(folder, must(folder.ReadTake(name))) != nil; used != (name != "220p") {
			t.Errorf("the response of take %s is used: %v", name, used)
		}
	}
}
