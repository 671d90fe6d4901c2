package fit

import (
	"strings"
	"testing"

	"coilsweep/capture"
)

func TestStale(t *testing.T) {
	held := func() capture.Fingerprint {
		return capture.Fingerprint{CoilSHA256: "c0",
			Takes: []capture.TakeFingerprint{{Name: "bare", SHA256: "b0"}, {Name: "C470", SHA256: "d0"}}}
	}
	const program = "coilsweep 1.0"
	for _, test := range []struct {
		name   string
		change func(*Result, *capture.Fingerprint)
		want   []string // parts of the reasons
	}{
		{"nothing", func(*Result, *capture.Fingerprint) {}, nil},
		{"coil.toml", func(_ *Result, p *capture.Fingerprint) { p.CoilSHA256 = "c1" },
			[]string{"coil.toml was edited"}},
		{"take added", func(_ *Result, p *capture.Fingerprint) {
			p.Takes = append(p.Takes, capture.TakeFingerprint{Name: "R100k", SHA256: "e0"})
		}, []string{`"R100k" was added`}},
		{"take removed", func(_ *Result, p *capture.Fingerprint) { p.Takes = p.Takes[:1] },
			[]string{`"C470" was removed`}},
		{"take changed", func(_ *Result, p *capture.Fingerprint) { p.Takes[0].SHA256 = "b1" },
			[]string{`"bare" was changed`}},
		{"take renamed", func(_ *Result, p *capture.Fingerprint) { p.Takes[0].Name = "alone" },
			[]string{`"alone" was added`, `"bare" was removed`}},
		{"program", func(r *Result, _ *capture.Fingerprint) { r.Program = "coilsweep 0.9" }, nil},
		{"analysis", func(r *Result, _ *capture.Fingerprint) { r.Record.Analysis-- },
			[]string{"coilsweep 1.0 analysed otherwise"}},
		{"schema", func(r *Result, _ *capture.Fingerprint) { r.Schema = "coilsweep.result/0" },
			[]string{`"coilsweep.result/0"`}},
		{"no record", func(r *Result, _ *capture.Fingerprint) { r.Record = nil }, []string{"does not say"}},
	} {
		t.Run(test.name, func(t *testing.T) {
			now := held()
			r := &Result{Schema: ResultSchema, Program: program, Record: NewRecord(held(), nil, Options{})}
			test.change(r, &now)
			got := r.Stale(now)
			if len(got) != len(test.want) {
				t.Fatalf("reasons %q, want %d", got, len(test.want))
			}
			for i, want := range test.want {
				if !strings.Contains(got[i], want) {
					t.Errorf("reason %q, want one with %q", got[i], want)
				}
			}
		})
	}
}

// The options come back from their record, and any that changes the result
// makes the record another.
func TestOptionsRecord(t *testing.T) {
	all := Options{Forms: []Form{{Rings: 1}, {Cylinder: true, Cover: true}}, SharedGain: true, Advise: true,
		MonteCarlo: 50, Seed: 7, Program: "any"}
	back, err := all.Record().Options()
	if err != nil {
		t.Fatal(err)
	}
	if !back.Record().Equal(all.Record()) || len(back.Forms) != 2 || back.Forms[1] != all.Forms[1] {
		t.Errorf("read back as %+v", back)
	}
	for name, other := range map[string]Options{
		"models": {Forms: all.Forms[:1], SharedGain: true, Advise: true, MonteCarlo: 50, Seed: 7},
		"gain":   {Forms: all.Forms, Advise: true, MonteCarlo: 50, Seed: 7},
		"advise": {Forms: all.Forms, SharedGain: true, MonteCarlo: 50, Seed: 7},
		"trials": {Forms: all.Forms, SharedGain: true, Advise: true, MonteCarlo: 51, Seed: 7},
		"seed":   {Forms: all.Forms, SharedGain: true, Advise: true, MonteCarlo: 50, Seed: 8},
	} {
		if other.Record().Equal(all.Record()) {
			t.Errorf("other %s count as equal", name)
		}
	}
	if !(Options{Seed: 3}).Record().Equal(Options{Seed: 4}.Record()) {
		t.Error("the seed of no trials counts")
	}
	if _, err := (OptionsRecord{Models: []string{"four rings"}}).Options(); err == nil ||
		!strings.Contains(err.Error(), "four rings") {
		t.Errorf("an unknown model gave error %v", err)
	}
}
