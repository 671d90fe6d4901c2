package evaluation

import (
	"bytes"
	"context"
	"encoding/gob"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"coilsweep/capture"
	"coilsweep/capture/record"
	"coilsweep/capture/virtual"
	"coilsweep/excite"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/consistency"
	"coilsweep/fit/joint"
)

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

var program = fit.Options{Program: "coilsweep test"}

// measured fills the coil folder dir with three takes from the simulated bench.
func measured(dir string, request excite.Request) {
	dcr := must(quantity.ParseResistance("7.85k@20C 0.5%"))
	check(capture.CreateFolder(dir, capture.Coil{Name: "invented", DCR: &dcr}))
	folder := must(capture.OpenFolder(dir))
	bench := virtual.Default()
	drive, reference := bench.Setup()
	fixtureC, fixtureR := must(quantity.ParseCapacitance("65p 5%")), must(quantity.ParseResistance("1M 1%"))
	for _, added := range []string{"", "220p 1%", "470p 1%"} {
		take := capture.Take{Name: "bare", Program: program.Program, Drive: drive, Reference: reference,
			Stimulus: must(excite.Design(request)), Load: capture.Load{FixtureC: &fixtureC, FixtureR: &fixtureR}}
		if added != "" {
			c := must(quantity.ParseCapacitance(added))
			take.Name, take.Load.AddedC = "C"+added[:4], &c
		}
		recorder := must(bench.Recorder(take.Load, take.Stimulus.RateHz, 3))
		must(record.Run(context.Background(), recorder, folder, take, record.Options{}))
	}
}

func check(err error) {
	if err != nil {
		panic(err)
	}
}

// short is a stimulus that is quickly recorded.
func short() excite.Request {
	r := excite.DefaultRequest()
	r.SweepS, r.Repeats = 0.7, 2
	return r
}

// original is a coil folder that was measured, fitted and saved.
var original = sync.OnceValue(func() string {
	temporary = must(os.MkdirTemp("", "evaluation"))
	dir := filepath.Join(temporary, "coil")
	measured(dir, short())
	check(must(Coil(context.Background(), dir, Options{Fit: program})).Save(nothing))
	return dir
})

var temporary string

func nothing(io.Writer) error { return nil }

func TestMain(m *testing.M) {
	code := m.Run()
	os.RemoveAll(temporary)
	os.Exit(code)
}

// fitted is a copy of a coil folder that was fitted, with the times of its files.
func fitted(t testing.TB) string {
	t.Helper()
	return copied(t, original())
}

// copied is a copy of a coil folder with takes, with the times of its files.
func copied(t testing.TB, from string) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "coil")
	check(os.CopyFS(dir, os.DirFS(from)))
	for _, name := range takes {
		info := must(os.Stat(audioOf(from, name)))
		check(os.Chtimes(audioOf(dir, name), info.ModTime(), info.ModTime()))
	}
	return dir
}

var takes = []string{"bare", "C220p", "C470p"}

func audioOf(dir, take string) string {
	return filepath.Join(dir, capture.TakesDir, take, capture.AudioFile)
}

// searches counts the fits until the end of the test.
func searches(t testing.TB) *int {
	count := 0
	search = func(ctx context.Context, coil capture.Coil, takes []joint.Take, o fit.Options) (*joint.Fitted, error) {
		count++
		return joint.Fit(ctx, coil, takes, o)
	}
	t.Cleanup(func() { search = joint.Fit })
	return &count
}

// told is the output of an evaluation: result.json and the curves.
func told(t testing.TB, e *Evaluation) string {
	t.Helper()
	var b bytes.Buffer
	check(e.Result.Encode(&b))
	for _, take := range e.Result.Takes {
		if take.Used {
			check(gob.NewEncoder(&b).Encode(take.Curve))
		}
	}
	return b.String()
}

// spoil replaces the audio of takes, which nobody can tell without reading it.
func spoil(dir string, takes ...string) {
	for _, name := range takes {
		path := audioOf(dir, name)
		info := must(os.Stat(path))
		check(os.WriteFile(path, make([]byte, info.Size()), 0o666))
		check(os.Chtimes(path, info.ModTime(), info.ModTime()))
	}
}

// A report after a fit makes no fit and reads no audio, so there is no alignment,
// no hum search and no response to estimate either; it equals the report after a
// fit.
func TestReportCostsNoFit(t *testing.T) {
	report := Options{Fit: program, AsLast: true, Circuit: true}
	report.Fit.Advise = true
	for name, options := range map[string]fit.Options{
		"ladder":   program,
		"one form": {Program: program.Program, Forms: []fit.Form{{Rings: 1}}, SharedGain: true},
	} {
		t.Run(name, func(t *testing.T) {
			dir := fitted(t)
			check(must(Coil(t.Context(), dir, Options{Fit: options, Anew: true})).Save(nothing))
			anew := report
			anew.Anew = true
			want := told(t, must(Coil(t.Context(), dir, anew)))
			kept := must(os.ReadFile(filepath.Join(dir, CacheFile)))
			spoil(dir, takes...)
			count := searches(t)
			e := must(Coil(t.Context(), dir, report))
			if *count > 0 || len(e.LeftOut) > 0 || e.Fitted() == nil {
				t.Errorf("%d fits, left out: %q", *count, e.LeftOut)
			}
			if told(t, e) != want {
				t.Error("it says something else than after a fit")
			}
			if in, ok := e.Input("C220p"); !ok || in.Response == nil {
				t.Error("the response of a take is missing")
			}
			check(e.Save(nothing))
			if !bytes.Equal(kept, must(os.ReadFile(filepath.Join(dir, CacheFile)))) {
				t.Error("the cache was saved as another")
			}
			if _, err := Coil(t.Context(), dir, anew); err == nil {
				t.Error("the audio was not replaced: this test tests nothing")
			}
		})
	}
}

// A take that contradicts the others is fitted by itself once, not for every report.
func TestReportOfAContradictedTakeCostsNoFit(t *testing.T) {
	dir := fitted(t)
	path := filepath.Join(dir, capture.TakesDir, "C470p", capture.TakeFile)
	stated := must(os.ReadFile(path))
	check(os.WriteFile(path, bytes.Replace(stated, []byte("470p 1%"), []byte("47p 1%"), 1), 0o666))
	count := searches(t)
	fresh := must(Coil(t.Context(), dir, Options{Fit: program}))
	check(fresh.Save(nothing))
	flagged := slices.ContainsFunc(fresh.Result.Takes, func(r fit.TakeResult) bool {
		return r.Name == "C470p" && slices.ContainsFunc(r.Flags, consistency.IsFlag) && r.Resonance.Known()
	})
	if !flagged || *count < 2 {
		t.Fatalf("%d fits, takes %+v: this test tests nothing", *count, fresh.Result.Takes)
	}
	*count = 0
	e := must(Coil(t.Context(), dir, Options{Fit: program, Circuit: true}))
	if *count != 0 || e.Fitted() == nil || told(t, e) != told(t, fresh) {
		t.Errorf("%d fits, or another result", *count)
	}
}

// Curves of an up-to-date result come from the cache as they were, and cost not even a
// step of the fit; with another recording behind them they are made again.
func TestCurvesCostNothing(t *testing.T) {
	dir := fitted(t)
	curves := func(e *Evaluation) (list []string) {
		for _, take := range e.Result.Takes {
			list = append(list, fmt.Sprintf("%v", *take.Curve)) // NaN is unlike itself
		}
		return list
	}
	want := curves(must(Coil(t.Context(), dir, Options{Fit: program, Circuit: true})))
	e := must(Coil(t.Context(), dir, Options{Fit: program, Curves: true}))
	if e.Fitted() != nil || !slices.Equal(curves(e), want) || len(want) != len(takes) {
		t.Errorf("a circuit %v, %d curves that are not those of the fit", e.Fitted() != nil, len(want))
	}
	check(os.Truncate(audioOf(dir, takes[0]), 1000))
	if e := must(Coil(t.Context(), dir, Options{Fit: program, Curves: true})); len(e.LeftOut) != 1 {
		t.Errorf("a take without its audio: %q", e.LeftOut)
	}
}

// Coil writes nothing, whether it fits or not.
func TestCoilWritesNothing(t *testing.T) {
	dir := fitted(t)
	check(os.Remove(filepath.Join(dir, CacheFile)))
	before := must(os.ReadDir(dir))
	must(Coil(t.Context(), dir, Options{Fit: program, Circuit: true}))
	if after := must(os.ReadDir(dir)); len(after) != len(before) {
		t.Errorf("%v\n%v", before, after)
	}
}

// rewrite changes a file of a coil folder.
func rewrite(dir, name string, change func(data []byte) []byte) {
	path := filepath.Join(dir, name)
	check(os.WriteFile(path, change(must(os.ReadFile(path))), 0o666))
}

// A cache that is not that of the fit that is asked for is as good as none.
func TestCacheOfNoUse(t *testing.T) {
	replace := func(dir, name, old, new string) {
		rewrite(dir, name, func(data []byte) []byte {
			if !bytes.Contains(data, []byte(old)) {
				t.Fatalf("no %q in %s", old, name)
			}
			return bytes.Replace(data, []byte(old), []byte(new), 1)
		})
	}
	recode := func(dir string, change func(c *cache)) {
		rewrite(dir, CacheFile, func(data []byte) []byte {
			c := must(decodeCache(data))
			change(c)
			return must(c.encode())
		})
	}
	plain := must(Coil(t.Context(), original(), Options{Fit: program, Anew: true}))
	held, fresh, key := plain.held, told(t, plain), keyOf(plain.held, program.Record())
	for name, change := range map[string]func(dir string, o *Options){
		"anew":         func(_ string, o *Options) { o.Anew = true },
		"other models": func(_ string, o *Options) { o.Fit.Forms = []fit.Form{{Rings: 2}} },
		"one gain":     func(_ string, o *Options) { o.Fit.SharedGain = true },
		"other analysis": func(dir string, _ *Options) {
			recode(dir, func(c *cache) { c.Key.Analysis = "0" + c.Key.Analysis })
		},
		"coil edited": func(dir string, _ *Options) {
			rewrite(dir, "coil.toml", func(d []byte) []byte { return append(d, '\n') })
		},
		"take edited": func(dir string,
			_ *Options) {
			replace(dir, "takes/C220p/take.toml", "220p 1%", "220p 2%")
		},
		"take removed": func(dir string,
			_ *Options) {
			check(os.RemoveAll(filepath.Join(dir, "takes/C220p")))
		},
		"result of a model": func(dir string,
			_ *Options) {
			replace(dir, ResultFile, `"models": []`, `"models": ["one ring"]`)
		},
		"no cache": func(dir string, _ *Options) { check(os.Remove(filepath.Join(dir, CacheFile))) },
		"empty":    func(dir string, _ *Options) { rewrite(dir, CacheFile, func([]byte) []byte { return nil }) },
		"line only": func(dir string, _ *Options) {
			rewrite(dir, CacheFile, func([]byte) []byte { return []byte(cacheLine) })
		},
		"truncated": func(dir string, _ *Options) {
			rewrite(dir, CacheFile,
				func(d []byte) []byte { return d[:len(d)-1] })
		},
		"longer": func(dir string, _ *Options) {
			rewrite(dir, CacheFile,
				func(d []byte) []byte { return append(d, 0) })
		},
		"a bit": func(dir string, _ *Options) {
			rewrite(dir, CacheFile, func(d []byte) []byte { d[len(d)/2] ^= 1; return d })
		},
		"other format": func(dir string, _ *Options) { replace(dir, CacheFile, "cache/5", "cache/6") },
		"too large": func(dir string, _ *Options) {
			check(os.Truncate(filepath.Join(dir, CacheFile), maxCache+1))
		},
		"a folder": func(dir string, _ *Options) {
			check(os.Remove(filepath.Join(dir, CacheFile)))
			check(os.Mkdir(filepath.Join(dir, CacheFile), 0o777))
		},
		"a link": func(dir string, _ *Options) {
			path := filepath.Join(dir, CacheFile)
			check(os.Rename(path, path+".other"))
			check(os.Symlink(path+".other", path))
		},
		"of another folder": func(dir string,
			_ *Options) {
			recode(dir, func(c *cache) { c.Key.Held.CoilSHA256 = "0" })
		},
		"a response less": func(dir string,
			_ *Options) {
			spoilOne(dir)
			recode(dir, func(c *cache) { c.Takes = c.Takes[1:] })
		},
		"other parameters": func(dir string,
			_ *Options) {
			recode(dir, func(c *cache) { c.Snapshot.Ends[0].X[0] += 1e-3 })
		},
		"other responses": func(dir string,
			_ *Options) {
			recode(dir, func(c *cache) { c.Takes[0].Response.H[9] *= 1.1 })
		},
		"no responses' end": func(dir string,
			_ *Options) {
			recode(dir, func(c *cache) { c.Takes[0].Response.H = nil })
		},
	} {
		t.Run(name, func(t *testing.T) {
			dir := fitted(t)
			o := Options{Fit: program, Circuit: true}
			change(dir, &o)
			count := searches(t)
			e, err := Coil(t.Context(), dir, o)
			if err != nil {
				t.Fatal(err)
			}
			if *count != 1 {
				t.Errorf("%d fits", *count)
			}
			if name == "other responses" {
				return // whoever makes a checksum of his own is believed the responses
			}
			want := fresh
			if o.Anew = true; !e.held.Equal(held) || !keyOf(held, o.Fit.Record()).equal(key) ||
				name == "a response less" {
				want = told(t, must(Coil(t.Context(), dir, o)))
			}
			if told(t, e) != want {
				t.Error("the result is not that of a fit")
			}
		})
	}
}

// spoilOne replaces the audio of the first take.
func spoilOne(dir string) {
	check(os.WriteFile(audioOf(dir, takes[0]), []byte("RIFF"), 0o666))
}

// Audio that was changed is noticed as without a cache; a copy of it is not a
// change.
func TestCacheAndAudio(t *testing.T) {
	later := time.Now().Add(time.Hour)
	for name, c := range map[string]struct {
		change   func(path string)
		searches int
		leftOut  string
	}{
		"copied":  {func(path string) { check(os.Chtimes(path, later, later)) }, 0, ""},
		"shorter": {func(path string) { check(os.Truncate(path, 1000)) }, 1, "was changed after"},
		"other contents": {func(path string) {
			check(os.WriteFile(path, make([]byte, must(os.Stat(path)).Size()),
				0o666))
		}, 1, "was changed after"},
		"missing": {func(path string) { check(os.Remove(path)) }, 1, "cannot read the audio"},
	} {
		t.Run(name, func(t *testing.T) {
			dir := fitted(t)
			c.change(audioOf(dir, "C220p"))
			count := searches(t)
			e := must(Coil(t.Context(), dir, Options{Fit: program, Circuit: true}))
			left := strings.Join(e.LeftOut, "; ")
			if *count != c.searches || !strings.Contains(left, c.leftOut) || (c.leftOut == "") != (left == "") {
				t.Errorf("%d fits, left out %q", *count, left)
			}
			if told(t, e) != told(t, must(Coil(t.Context(), dir, Options{Fit: program, Anew: true}))) {
				t.Error("the result is not that of a fit")
			}
		})
	}
}

// A take that was left out for its audio is used once that is back, and costs no
// fit until then.
func TestCacheWithoutATake(t *testing.T) {
	dir := fitted(t)
	check(os.Rename(audioOf(dir, "C220p"), audioOf(dir, "C220p")+".away"))
	report := Options{Fit: program, AsLast: true, Circuit: true}
	check(must(Coil(t.Context(), dir, Options{Fit: program, Anew: true})).Save(nothing))
	count := searches(t)
	if e := must(Coil(t.Context(), dir, report)); *count != 0 || len(e.LeftOut) != 1 {
		t.Errorf("%d fits, left out %q", *count, e.LeftOut)
	}
	check(os.Rename(audioOf(dir, "C220p")+".away", audioOf(dir, "C220p")))
	if e := must(Coil(t.Context(), dir, report)); *count != 1 || len(e.LeftOut) != 0 {
		t.Errorf("%d fits, left out %q", *count, e.LeftOut)
	}
}

// A take whose take.toml cannot be read stays left out without a fit.
func TestCacheWithAnUnreadableTake(t *testing.T) {
	dir := fitted(t)
	check(os.WriteFile(filepath.Join(dir, "takes/C220p/take.toml"), []byte("no take"), 0o666))
	fresh := must(Coil(t.Context(), dir, Options{Fit: program, Anew: true}))
	check(fresh.Save(nothing))
	count := searches(t)
	e := must(Coil(t.Context(), dir, Options{Fit: program, Circuit: true}))
	if *count != 0 || !slices.Equal(e.LeftOut, fresh.LeftOut) || told(t, e) != told(t, fresh) {
		t.Errorf("%d fits, left out %q", *count, e.LeftOut)
	}
}

// What was read to compare a take with the others need not be read for the fit.
func TestContradictionsReadOnce(t *testing.T) {
	dir := fitted(t)
	fresh := must(Coil(t.Context(), dir, Options{Fit: program, Anew: true}))
	said, read, err := Contradictions(t.Context(), must(capture.OpenFolder(dir)), "C220p", nil)
	if err != nil || said != nil {
		t.Fatalf("%q, %v", said, err)
	}
	for _, name := range takes {
		check(os.Remove(audioOf(dir, name)))
	}
	e := must(Coil(t.Context(), dir, Options{Fit: program, Anew: true, Before: read}))
	if len(e.LeftOut) != 0 || told(t, e) != told(t, fresh) {
		t.Errorf("left out %q, or another result", e.LeftOut)
	}
}

// Monte Carlo trials repeat the fit, also from the cache.
func TestCacheMonteCarlo(t *testing.T) {
	dir := fitted(t)
	o := Options{Fit: program, Circuit: true}
	o.Fit.MonteCarlo, o.Fit.Seed = 5, 7
	count := searches(t)
	e := must(Coil(t.Context(), dir, o))
	o.Anew = true
	if *count != 0 || e.Result.MonteCarlo == nil || told(t, e) != told(t, must(Coil(t.Context(), dir, o))) {
		t.Errorf("%d fits, %+v", *count, e.Result.MonteCarlo)
	}
}

// FuzzCache: any file in the folder is read without a panic, as a whole cache or
// none; a snapshot from it is refused or leads to a circuit.
func FuzzCache(f *testing.F) {
	data := must(os.ReadFile(filepath.Join(original(), CacheFile)))
	body := data[len(cacheLine)+32:]
	f.Add(data)
	f.Add(body)
	f.Add(body[:len(body)/2])
	for at := range 8 {
		spoilt := slices.Clone(body)
		spoilt[at*len(body)/8] ^= 0x55
		f.Add(spoilt)
	}
	small := cache{Key: cacheKey{Analysis: "1", Models: []string{"m"}},
		Snapshot: joint.Snapshot{Ends: []joint.End{{X: []float64{1}, Polarity: []float64{-1}}}}}
	f.Add(must(small.encode()))
	f.Add(must(small.encode())[len(cacheLine)+32:])
	f.Add([]byte(cacheLine))
	thin := must(decodeCache(data)) // few points, so that most mutations meet structure
	for i := range thin.Takes {
		n := 0
		thin.Takes[i].Response = thin.Takes[i].Response.Select(func(float64) bool { n++; return n%60 == 0 })
	}
	f.Add(must(thin.encode())[len(cacheLine)+32:])
	f.Fuzz(func(t *testing.T, data []byte) {
		decodeCache(data)
		c, err := decodeBody(data)
		if err != nil {
			return
		}
		again, err := decodeCache(must(c.encode()))
		if err != nil || !again.Key.equal(c.Key) || len(again.Takes) != len(c.Takes) {
			t.Fatalf("read, written and read again: %v", err)
		}
		var inputs []joint.Take
		for _, k := range c.Takes {
			inputs = append(inputs, joint.Take{Name: k.Name, Response: k.Response})
		}
		if _, err := joint.Restore(capture.Coil{}, inputs, c.Snapshot, fit.Options{}); err != nil &&
			!errors.Is(err, joint.ErrSnapshot) && !errors.Is(err, joint.ErrNoTakes) {
			t.Log(err)
		}
	})
}

// BenchmarkReport: what a report starts from, of three takes with the default
// stimulus, by a fit, from the cache, and from the cache of a folder that was
// copied.
func BenchmarkReport(b *testing.B) {
	dir := filepath.Join(b.TempDir(), "coil")
	measured(dir, excite.DefaultRequest())
	check(must(Coil(b.Context(), dir, Options{Fit: program})).Save(nothing))
	kept := filepath.Join(dir, CacheFile)
	size := float64(must(os.Stat(kept)).Size())
	run := func(name string, o Options) {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				must(Coil(b.Context(), dir, o))
			}
			b.ReportMetric(size, "file-bytes")
		})
	}
	o := Options{Fit: program, Circuit: true}
	run("cache", o)
	for i, name := range takes {
		later := time.Now().Add(time.Duration(i+1) * time.Hour)
		check(os.Chtimes(audioOf(dir, name), later, later))
	}
	run("cache of a copy", o)
	o.Anew = true
	run("fit", o)
}
