package workbench

import (
	"context"
	"slices"
	"testing"

	"coilsweep/capture/record"
	"coilsweep/capture/virtual"
	"coilsweep/fit/check"
)

// replugged is a bench whose two inputs hear what plug makes of what they should.
type replugged struct {
	record.Recorder
	plug func(coil, reference float32) (float32, float32)
}

func (r replugged) Record(ctx context.Context, play []float32, frames int, sink func([]float32) error) (record.Session,
	error) {
	return r.Recorder.Record(ctx, play, frames, func(block []float32) error {
		for i := 0; i < len(block); i += 2 {
			block[i], block[i+1] = r.plug(block[i], block[i+1])
		}
		return sink(block)
	})
}

// A trial sweep names what is connected wrongly before a take is made.
func TestCheckFindsWrongPlugs(t *testing.T) {
	for _, tt := range []struct {
		want string // what stops the take; empty: nothing
		plug func(coil, reference float32) (float32, float32)
	}{
		{"", func(coil, reference float32) (float32, float32) { return coil, reference }},
		{"swapped-channels", func(coil, reference float32) (float32, float32) { return reference, coil }},
		{"same-signal", func(coil, _ float32) (float32, float32) { return coil, coil }},
		{"no-reference", func(coil, _ float32) (float32, float32) { return coil, 0 }},
	} {
		k := NewCheck("test")
		k.NoCoil, k.Bench.Kind = true, Virtual
		if err := k.Fill(map[string]string{"reference": "current", "sense-r": "10"}); err != nil {
			t.Fatal(err)
		}
		plan, err := k.Plan(t.TempDir())
		if err != nil {
			t.Fatal(err)
		}
		bench, err := virtual.Default().Recorder(plan.take.Load, plan.take.Stimulus.RateHz, 3)
		if err != nil {
			t.Fatal(err)
		}
		report, err := plan.Run(t.Context(), replugged{bench, tt.plug}, Ears{})
		var stops []string
		for _, f := range report.Findings {
			if f.Grade == check.Stop {
				stops = append(stops, f.What)
				if f.Text == "" || f.Advice == "" {
					t.Errorf("%s says %q, and to do %q", f.What, f.Text, f.Advice)
				}
			}
		}
		want := slices.DeleteFunc([]string{tt.want}, func(s string) bool { return s == "" })
		if !slices.Equal(stops, want) || (err == nil) != (tt.want == "") || report.FitToTake != (tt.want == "") {
			t.Errorf("%v, %v, want %v", stops, err, want)
		}
	}
}
