package evaluation

import (
	"bytes"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"coilsweep/capture"
	"coilsweep/fit"
)

// ahead is a coil folder with takes and no result.
var ahead = sync.OnceValue(func() string {
	dir := filepath.Join(filepath.Dir(original()), "ahead")
	check(os.CopyFS(dir, os.DirFS(original())))
	for _, name := range []string{ResultFile, ResponseFile, CacheFile} {
		check(os.Remove(filepath.Join(dir, name)))
	}
	return dir
})

// doubt asks for what the takes contradict, as after the take called name.
func doubt(t *testing.T, folder *capture.Folder, name string) {
	t.Helper()
	_, seen, err := Contradictions(t.Context(), folder, name, nil)
	check(err)
	seen.Doubted(t.Context(), name, program.Program)
}

// unaided is what the evaluation of dir says without its cache, and the fits that it makes.
func unaided(t *testing.T, dir string, o Options) (said string, fits int) {
	t.Helper()
	check(os.Remove(filepath.Join(dir, CacheFile)))
	count := searches(t)
	said = told(t, must(Coil(t.Context(), dir, o)))
	return said, *count
}

// The fit after a take makes no search that was made to judge the take, and says the same
// to the bit; a folder has no result for that.
func TestFitAfterATakeCostsNoSearch(t *testing.T) {
	for name, tt := range map[string]struct {
		before func(dir string)
		fit    Options
		fits   int // of takes that contradict others, each by itself
	}{
		"no result": {func(string) {}, Options{Fit: program, Anew: true}, 0},
		"to be shown with advice": {func(string) {},
			Options{Fit: fit.Options{Program: program.Program, Advise: true}, AsLast: true, Circuit: true}, 0},
		"Monte Carlo": {func(string) {},
			Options{Fit: fit.Options{Program: program.Program, MonteCarlo: 5, Seed: 7}, Anew: true}, 0},
		"result of fewer takes": {func(dir string) {
			away := filepath.Join(filepath.Dir(dir), "away")
			check(os.Rename(filepath.Dir(audioOf(dir, "C470p")), away))
			check(must(Coil(t.Context(), dir, Options{Fit: program})).Save(nothing))
			check(os.Rename(away, filepath.Dir(audioOf(dir, "C470p"))))
		}, Options{Fit: program, Anew: true}, 0},
		"as the last fit": {func(dir string) {
			given := fit.Options{Program: program.Program, Forms: []fit.Form{{Rings: 1}}, SharedGain: true}
			check(must(Coil(t.Context(), dir, Options{Fit: given})).Save(nothing))
			rewrite(dir, "coil.toml", func(d []byte) []byte { return append(d, '\n') })
		}, Options{Fit: program, AsLast: true, Anew: true}, 0},
		"DC resistance contradicted": {func(dir string) {
			rewrite(dir, "coil.toml", func(d []byte) []byte { return bytes.Replace(d, []byte("7.85k"), []byte("7k"), 1) })
		}, Options{Fit: program, Anew: true}, 0},
		"a take not usable": {func(dir string) {
			check(os.Truncate(audioOf(dir, "bare"), 1000))
		}, Options{Fit: program, Anew: true}, 0},
		"a take contradicts": {func(dir string) {
			rewrite(dir, "takes/C470p/take.toml",
				func(d []byte) []byte { return bytes.Replace(d, []byte("470p 1%"), []byte("47p 1%"), 1) })
		}, Options{Fit: program, Anew: true}, 2},
		"a take left out": {func(dir string) {
			addTake(dir, "100p", "100p")
			addTake(dir, "150p", "150p")
			addTake(dir, "680p", "68p")
		}, Options{Fit: program, Anew: true}, 1},
	} {
		t.Run(name, func(t *testing.T) {
			dir := copied(t, ahead())
			tt.before(dir)
			doubt(t, must(capture.OpenFolder(dir)), "C470p")
			if k := must(Glance(dir)); k.Result != nil && k.Stale == nil {
				t.Error("it counts as a result that is up to date")
			}
			count := searches(t)
			e := must(Coil(t.Context(), dir, tt.fit))
			got := told(t, e)
			t.Logf("left out %q, contradicted %q", e.LeftOut, e.Result.Contradicted)
			made := *count
			want, all := unaided(t, dir, tt.fit)
			if made != tt.fits || all != tt.fits+1 {
				t.Errorf("%d fits, without what was kept %d, want %d and one more", made, all, tt.fits)
			}
			if got != want {
				t.Error("it says something else than without what was kept")
			}
		})
	}
}

// Of a folder or for a fit that is another one than what was judged, no search is taken.
func TestSearchOfAnotherFitIsNotUsed(t *testing.T) {
	state := func(name string, change func(data []byte) []byte) func(string, *Options) {
		return func(dir string, _ *Options) { rewrite(dir, name, change) }
	}
	replaced := func(old, new string) func(data []byte) []byte {
		return func(data []byte) []byte {
			if !bytes.Contains(data, []byte(old)) {
				t.Fatalf("no %q", old)
			}
			return bytes.Replace(data, []byte(old), []byte(new), 1)
		}
	}
	for name, change := range map[string]func(dir string, o *Options){
		"coil edited":  state("coil.toml", replaced("7.85k@20C 0.5%", "7.9k@20C 0.5%")),
		"spaces":       state("coil.toml", func(d []byte) []byte { return append(d, '\n') }),
		"added C":      state("takes/C220p/take.toml", replaced("220p 1%", "220p 2%")),
		"fixture":      state("takes/bare/take.toml", replaced("65p 5%", "70p 5%")),
		"cache cut":    state(CacheFile, func(d []byte) []byte { return d[:len(d)-1] }),
		"one model":    func(_ string, o *Options) { o.Fit.Forms = []fit.Form{{Rings: 1}} },
		"one gain":     func(_ string, o *Options) { o.Fit.SharedGain = true },
		"take added":   func(dir string, _ *Options) { addTake(dir, "330p", "330p") },
		"take removed": func(dir string, _ *Options) { check(os.RemoveAll(filepath.Join(dir, "takes/C220p"))) },
		"take set aside": func(dir string, _ *Options) {
			must(must(capture.OpenFolder(dir)).SetAside("C220p"))
		},
		"take renamed": func(dir string, _ *Options) {
			check(os.Rename(filepath.Join(dir, "takes/C220p"), filepath.Join(dir, "takes/D220p")))
		},
		"audio of the same size and time": func(dir string, _ *Options) { spoil(dir, "bare") },
		"result up to date": func(dir string, o *Options) {
			check(must(Coil(t.Context(), dir, *o)).Save(nothing))
		},
	} {
		t.Run(name, func(t *testing.T) {
			dir := copied(t, ahead())
			doubt(t, must(capture.OpenFolder(dir)), "C470p")
			o := Options{Fit: program, Anew: true}
			change(dir, &o)
			count := searches(t)
			got := told(t, must(Coil(t.Context(), dir, o)))
			if *count == 0 {
				t.Error("no fit was made")
			}
			if want, _ := unaided(t, dir, o); got != want {
				t.Error("the result is not that of a fit")
			}
		})
	}
}

// What was judged by a coil.toml that was edited meanwhile, or of some takes only, is no
// search of the folder.
func TestSearchNotKept(t *testing.T) {
	dir := copied(t, ahead())
	folder := must(capture.OpenFolder(dir))
	rewrite(dir, "coil.toml", func(d []byte) []byte { return bytes.Replace(d, []byte("7.85k"), []byte("7.86k"), 1) })
	doubt(t, folder, "C470p")
	large := many(t, "7.85k@20C 0.5%")
	doubt(t, must(capture.OpenFolder(large)), "560p")
	for _, dir := range []string{dir, large} {
		c := openCache(dir)
		if c == nil || len(c.Takes) == 0 || len(c.Snapshot.Ends) != 0 {
			t.Errorf("%s: responses alone were to be kept", dir)
		}
	}
}
