package joint

import (
	"bytes"
	"context"
	"encoding/gob"
	"errors"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"testing"

	"coilsweep/capture"
	"coilsweep/excite"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
)

// fitCase is a coil that is fitted, and restored from the fit's snapshot.
type fitCase struct {
	coil    capture.Coil
	takes   []Take
	options fit.Options
	// is, if not nil, tells whether the fit is what the case is there for.
	is func(a *analysis) bool
}

func fitCases(t testing.TB) map[string]fitCase {
	base := load{fixtureC: "65p 5%", fixtureR: "1M 1%", delayS: 1.3e-5}
	added := func(parts ...string) []load {
		var loads []load
		for _, c := range parts {
			l := base
			l.addedC = c
			loads = append(loads, l)
		}
		return loads
	}
	three := added("", "220p 1%", "470p 1%")
	air := trueCoil{henry: 2.4, ohm: 7850, farad: 110e-12}
	one, covered, structured := air, air, air
	one.ring(0.1, 3000)
	covered.ring(0.1, 3000)
	covered.coverHz = 9000
	structured.ring(0.10, 2500)
	structured.ring(0.012, 15000)
	referenced := func(c trueCoil, seed uint64) bench {
		return bench{coil: c, snrDB: 65, seed: seed, referenced: true, rippled: true}
	}
	withMeter := dcr("7.85k@20C 0.5%")
	withMeter.Meter = []capture.MeterReading{meterL("2.4H 1%", 25)}
	used := meterL("2.4H 1%", 100)
	used.UseInFit = true
	meterUsed := capture.Coil{PartsScale: 0.5, Meter: []capture.MeterReading{used}}
	wrong := slices.Clone(three)
	wrong[1].trueC = 270e-12
	clipped := referenced(demoCoil(), 7).takes(added("", "220p 1%", "330p 1%", "470p 1%")...)
	clipped[1].Unfit, clipped[1].Response, clipped[1].Flags = "clipped", nil, []string{"clipped"}
	resistors := []load{base, base}
	resistors[1].addedR = "100k 1%"
	pair := readSpice(t, must(os.ReadFile(filepath.Join(spiceDir, "fit_pair.csv"))))[:4]
	for i := range pair {
		pair[i].spline(t)
	}
	pairTakes, pairCoil := cardedTakes(pair, spiceFixtureF, pairAdded, 8.15e3, denseGrid(), "echo", 1)
	unstated := []load{{fixtureR: "1M 1%"}, {fixtureR: "1M 1%", addedC: "470p"}}
	return map[string]fitCase{
		"loss-free": {takes: referenced(air, 1).takes(three...),
			is: func(a *analysis) bool { return a.best.joint.form == fit.Form{} }},
		"one loop": {takes: referenced(one, 2).takes(three...), coil: withMeter},
		"two loops, no reference": {takes: threeTakes(bench{coil: demoCoil(), snrDB: 70, seed: 1, rippled: true}),
			is: func(a *analysis) bool { return a.best.joint.polarity[0] == -1 && len(a.rivals) > 0 }},
		"solid core": {takes: fourTakes(solidCoil(), 200, true),
			is: func(a *analysis) bool { return a.best.joint.form.Cylinder }},
		"cover": {takes: referenced(covered, 3).takes(three...),
			is: func(a *analysis) bool { return a.best.joint.form.Cover }},
		"misfit": {takes: bench{coil: demoCoil(), snrDB: 70, seed: 4}.takes(three...), coil: withMeter,
			options: fit.Options{Forms: []fit.Form{{}, {Rings: 1}}},
			is:      func(a *analysis) bool { return a.widen > 1 && len(a.disagreeing) == 3 }},
		"structure": {takes: bench{coil: structured, snrDB: 70, seed: 4, referenced: true,
			rippled: true}.takes(three...), coil: withMeter, options: fit.Options{Forms: []fit.Form{{Rings: 1}}},
			is: func(a *analysis) bool { return len(a.halves) == 2 }},
		"one take": {takes: referenced(one, 5).takes(base)},
		"one take, DC": {takes: referenced(air, 5).takes(base), coil: dcr("7.85k@20C 0.5%"),
			options: fit.Options{Forms: []fit.Form{{}}}},
		"one take, DC, no metal supposed": {takes: referenced(air, 5).takes(base), coil: dcr("7.85k@20C 0.5%"),
			is: func(a *analysis) bool { return a.bare != nil }},
		"two coils": {takes: pairTakes, coil: pairCoil, is: func(a *analysis) bool { return a.request.free }},
		"blind spot": {takes: bench{coil: trueCoil{henry: 4, ohm: 7850, farad: 400e-12}, snrDB: 50, seed: 4,
			referenced: true}.takes(base), coil: dcr("7.85k@20C 2%"), options: fit.Options{Forms: []fit.Form{{}}},
			is: func(a *analysis) bool { return len(a.searches.ends) == 3 }},
		"shared gain": {takes: threeTakes(bench{coil: demoCoil(), snrDB: 40, seed: 2}),
			options: fit.Options{SharedGain: true}},
		"left out":         {takes: clipped, coil: dcr("7.85k@20C 0.5%")},
		"meter in the fit": {takes: referenced(one, 8).takes(base), coil: meterUsed},
		"wrong part":       {takes: referenced(one, 9).takes(wrong...)},
		"wrong reading": {takes: referenced(one, 13).takes(three...), coil: dcr("7.4k@20C 0.5%"),
			is: func(a *analysis) bool { return len(a.letGo) == 1 }},
		"added resistor":      {takes: referenced(one, 10).takes(resistors...)},
		"noisy":               {takes: bench{coil: one, snrDB: 25, seed: 11}.takes(three...)},
		"unstated tolerances": {takes: referenced(one, 12).takes(unstated...)},
	}
}

// all is everything that a fit can be asked, as it is kept and shown.
func all(t testing.TB, f *Fitted) (told []any) {
	ctx := context.Background()
	r := must(f.Result(ctx))
	var encoded bytes.Buffer
	if err := r.Encode(&encoded); err != nil {
		t.Fatal(err)
	}
	told = append(told, encoded.String())
	for _, take := range r.Takes {
		told = append(told, take.Curve)
	}
	sought := []fit.Sought{{}, {}, {}, {Frequency: true}, {}, {Frequency: true}, {Decibel: true}}
	predicted, err := fit.Propagate([]fit.Uncertain{f}, nil, sought, func(coils []circuit.Coil, _, dst []float64) {
		c := coils[0]
		dst[0], dst[1], dst[2] = c.InductanceH, c.ResistanceOhm, c.CapacitanceF
		dst[3], dst[4], _ = c.Resonance(circuit.Open())
		dst[5], dst[6], _ = c.Peak(circuit.Load{ResistanceOhm: 250e3, CapacitanceF: 470e-12})
	})
	told = append(told, predicted, err)
	account, err := f.Account(fit.Terminals{})
	told = append(told, account, err)
	stim := must(excite.Design(excite.DefaultRequest()))
	excitation, err := f.Excitation(r.Takes[0].Name, stim, stim, f.takes[0].Load)
	return append(told, excitation, err)
}

// sameBits tells whether a and b are the same, floats bit for bit.
func sameBits(a, b any) bool {
	encode := func(v any) []byte {
		if err, ok := v.(error); ok {
			return []byte(err.Error())
		}
		var out bytes.Buffer
		if v == nil || reflect.ValueOf(v).Kind() == reflect.Pointer && reflect.ValueOf(v).IsNil() {
			return nil
		}
		if err := gob.NewEncoder(&out).Encode(v); err != nil {
			panic(err)
		}
		return out.Bytes()
	}
	return bytes.Equal(encode(a), encode(b))
}

// A fit that is restored, after its snapshot was on disk, says all that the fit
// says, to the last bit.
func TestRestore(t *testing.T) {
	for name, c := range fitCases(t) {
		for _, advise := range []bool{false, true} {
			t.Run(name, func(t *testing.T) {
				t.Parallel()
				c := c
				c.options.Advise = advise
				f := must(Fit(context.Background(), c.coil, c.takes, c.options))
				if c.is != nil && !c.is(f.a) {
					t.Fatalf("the fit is not what the case is there for: %s, widened by %g, %d rivals, %d halves, %d "+
						"searches, %v",
						f.a.best.joint.form.Name(), f.a.widen, len(f.a.rivals), len(f.a.halves), len(f.a.searches.ends),
						f.a.best.joint.polarity)
				}
				var disk bytes.Buffer
				var snapshot Snapshot
				if err := errors.Join(gob.NewEncoder(&disk).Encode(f.Snapshot()),
					gob.NewDecoder(&disk).Decode(&snapshot)); err != nil {
					t.Fatal(err)
				}
				g, err := Restore(c.coil, c.takes, snapshot, c.options)
				if err != nil {
					t.Fatal(err)
				}
				if !sameBits(f.Snapshot(), g.Snapshot()) {
					t.Error("the snapshot of what was restored is another")
				}
				if f.a.known.c.SymmetricDim() != g.a.known.c.SymmetricDim() ||
					!slices.Equal(f.a.known.c.RawSymmetric().Data, g.a.known.c.RawSymmetric().Data) {
					t.Error("the covariance is another")
				}
				before, after := all(t, f), all(t, g)
				for i := range before {
					if !sameBits(before[i], after[i]) {
						t.Errorf("%T differs:\n%+v\n%+v", before[i], before[i], after[i])
					}
				}
			})
		}
	}
}

// Monte Carlo trials repeat the fit, of one that was restored too.
func TestRestoreMonteCarlo(t *testing.T) {
	takes := threeTakes(bench{coil: demoCoil(), snrDB: 60, seed: 3, referenced: true})
	options := fit.Options{Forms: []fit.Form{{Rings: 2}}}
	f := must(Fit(context.Background(), capture.Coil{}, takes, options))
	options.MonteCarlo, options.Seed = 10, 4
	f.options = options
	g := must(Restore(capture.Coil{}, takes, f.Snapshot(), options))
	if a, b := must(f.Result(context.Background())),
		must(g.Result(context.Background())); !sameBits(a.MonteCarlo, b.MonteCarlo) {
		t.Errorf("%+v\n%+v", a.MonteCarlo, b.MonteCarlo)
	}
}

// A snapshot is of no use to other takes, another coil and other options, and
// where it is damaged.
func TestRestoreRefuses(t *testing.T) {
	b := bench{coil: demoCoil(), snrDB: 60, seed: 3, referenced: true}
	takes, coil, options := threeTakes(b), dcr("7.85k@20C 0.5%"), fit.Options{Forms: []fit.Form{{Rings: 1}, {Rings: 2}}}
	f := must(Fit(context.Background(), coil, takes, options))
	b.seed = 4
	other := threeTakes(b)
	tests := map[string]func(coil *capture.Coil, takes *[]Take, s *Snapshot, o *fit.Options){
		"other noise": func(_ *capture.Coil, takes *[]Take, _ *Snapshot, _ *fit.Options) { *takes = other },
		"a take less": func(_ *capture.Coil, takes *[]Take, _ *Snapshot, _ *fit.Options) { *takes = (*takes)[:2] },
		"another coil": func(coil *capture.Coil, _ *[]Take, _ *Snapshot,
			_ *fit.Options) {
			*coil = dcr("7.86k@20C 0.5%")
		},
		"another form": func(_ *capture.Coil, _ *[]Take, _ *Snapshot, o *fit.Options) { o.Forms = o.Forms[1:] },
		"one form more": func(_ *capture.Coil, _ *[]Take, _ *Snapshot, o *fit.Options) {
			o.Forms = append(slices.Clone(o.Forms), fit.Form{})
		},
		"the ladder": func(_ *capture.Coil, _ *[]Take, _ *Snapshot, o *fit.Options) { o.Forms = nil },
		"one gain":   func(_ *capture.Coil, _ *[]Take, _ *Snapshot, o *fit.Options) { o.SharedGain = true },
		"nothing":    func(_ *capture.Coil, _ *[]Take, s *Snapshot, _ *fit.Options) { s.Ends = nil },
		"an end less": func(_ *capture.Coil, _ *[]Take, s *Snapshot,
			_ *fit.Options) {
			s.Ends = s.Ends[:len(s.Ends)-1]
		},
		"an end more": func(_ *capture.Coil, _ *[]Take, s *Snapshot,
			_ *fit.Options) {
			s.Ends = append(s.Ends, s.Ends[0])
		},
		"a parameter less": func(_ *capture.Coil, _ *[]Take, s *Snapshot,
			_ *fit.Options) {
			s.Ends[0].X = s.Ends[0].X[1:]
		},
		"a parameter":  func(_ *capture.Coil, _ *[]Take, s *Snapshot, _ *fit.Options) { s.Ends[2].X[0] += 1e-3 },
		"not a number": func(_ *capture.Coil, _ *[]Take, s *Snapshot, _ *fit.Options) { s.Ends[0].X[0] = math.NaN() },
		"a sum":        func(_ *capture.Coil, _ *[]Take, s *Snapshot, _ *fit.Options) { s.Ends[0].SumSquares *= 1.001 },
		"a polarity":   func(_ *capture.Coil, _ *[]Take, s *Snapshot, _ *fit.Options) { s.Ends[0].Polarity[0] = 2 },
		"a factor":     func(_ *capture.Coil, _ *[]Take, s *Snapshot, _ *fit.Options) { s.Ends[2].Widen *= 2 },
		"no minimum":   func(_ *capture.Coil, _ *[]Take, s *Snapshot, _ *fit.Options) { s.Ends[0].X = nil },
	}
	for name, change := range tests {
		t.Run(name, func(t *testing.T) {
			coil, takes, snapshot, options := coil, slices.Clone(takes), f.Snapshot(), options
			change(&coil, &takes, &snapshot, &options)
			if _, err := Restore(coil, takes, snapshot, options); err == nil {
				t.Fatal("restored")
			} else if name != "no minimum" && !errors.Is(err, ErrSnapshot) {
				t.Error(err)
			}
		})
	}
}

func BenchmarkFit(b *testing.B) {
	takes := threeTakes(bench{coil: demoCoil(), snrDB: 70, seed: 1, rippled: true})
	f := must(Fit(context.Background(), capture.Coil{}, takes, fit.Options{}))
	snapshot := f.Snapshot()
	b.Run("searched", func(b *testing.B) {
		for b.Loop() {
			must(Fit(context.Background(), capture.Coil{}, takes, fit.Options{}))
		}
	})
	b.Run("restored", func(b *testing.B) {
		for b.Loop() {
			must(Restore(capture.Coil{}, takes, snapshot, fit.Options{}))
		}
	})
	b.Run("result", func(b *testing.B) {
		for b.Loop() {
			must(must(Restore(capture.Coil{}, takes, snapshot, fit.Options{})).Result(context.Background()))
		}
	})
}
