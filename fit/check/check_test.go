package check

import (
	"math"
	"slices"
	"strings"
	"testing"

	"coilsweep/capture"
	"coilsweep/capture/quality"
	"coilsweep/capture/record"
	"coilsweep/capture/virtual"
	"coilsweep/excite"
	"coilsweep/excite/quantity"
	"coilsweep/fit/response"
)

func ohm(t testing.TB, text string) quantity.Resistance {
	t.Helper()
	r, err := quantity.ParseResistance(text)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// scout plays the sweep of a check on a simulated bench.
func scout(t testing.TB, b virtual.Bench, reference string, sweepS, plannedDBFS float64) Scout {
	t.Helper()
	if testing.Short() {
		t.Skip("simulates sound")
	}
	request := excite.DefaultRequest()
	request.SweepS, request.Repeats, request.LevelDBFS, request.LeadInS = sweepS, 3, plannedDBFS-18, 1.5
	stimulus, err := excite.Design(request)
	if err != nil {
		t.Fatal(err)
	}
	recorder, err := b.Recorder(capture.Load{}, 48000, 1)
	if err != nil {
		t.Fatal(err)
	}
	s := Scout{PlannedDBFS: plannedDBFS, DCROhm: b.Coil.Resistance.SI}
	take := capture.Take{Drive: capture.Drive{Kind: "current"}, Reference: capture.Reference{Kind: reference},
		Stimulus: stimulus}
	if s.Recording, s.Take, err = record.Scout(t.Context(), recorder, take, nil); err != nil {
		t.Fatal(err)
	}
	if s.Response, err = response.Estimate(t.Context(), s.Recording, s.Take); err != nil {
		t.Log(err)
	}
	return s
}

// loud plays the second sweep of a check, at the level planned.
func loud(t testing.TB, b virtual.Bench, plannedDBFS float64) *response.Response {
	t.Helper()
	return scout(t, b, "none", 0.7, plannedDBFS+18).Response
}

// Each fault of a bench is found, named and graded, and a bench without one
// has no finding.
func TestFaultsAreFound(t *testing.T) {
	tests := []struct {
		name      string
		fault     func(*virtual.Bench)
		reference string
		planned   float64
		want      []string // what is found, all of it
		fit       bool
		advice    string
		loud      bool // a second sweep is played
	}{
		{"none", func(*virtual.Bench) {}, "current", -12, nil, true, "", true},
		{"too loud", func(*virtual.Bench) {}, "none", -2, []string{"will-clip"}, false,
			"turn the gain down 10 dB, or play at -12 dBFS", false},
		{"little headroom", func(b *virtual.Bench) { b.Input.FullScaleV *= 0.6 }, "none", -12,
			[]string{"little-headroom"},
			true, "play at -16 dBFS", false},
		{"clips already", func(b *virtual.Bench) { b.Input.FullScaleV = 0.004 }, "none", -12, []string{"clipped"},
			false,
			"turn the gain down by 20 dB", false},
		{"quiet", func(b *virtual.Bench) { b.Input.FullScaleV *= 40 }, "none", -12, []string{"quiet"}, true,
			"turn the gain up 32 dB, or play at -3 dBFS", false},
		{"hum", func(b *virtual.Bench) {
			b.Hum.MainsHz = 60.04
			for i := range b.Hum.Lines {
				b.Hum.Lines[i].EMFRMSV *= 100
			}
		}, "none", -12, []string{"hum"}, true, "move the transformer", false},
		{"two clocks", func(b *virtual.Bench) { b.Clock.DriftPPM = 60 }, "none", -12, []string{"drift"}, true,
			"one device",
			false},
		{"drop-out", func(b *virtual.Bench) {
			b.Faults.DropOuts = []virtual.DropOut{{AtS: 2.0, Lost: 300, Reported: true}}
		}, "none", -12, []string{"dropout"}, true, "larger buffer", false},
		{"distortion", func(b *virtual.Bench) { b.Output.SecondHarmonicDB = -30 }, "none", -12, []string{"distorted"},
			true,
			"linear range", true},
		{"no signal", func(b *virtual.Bench) { b.Exciter.Mutual.SI = 1e-12 }, "none", -12, []string{"no-stimulus"},
			false,
			"wiring", false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			b := virtual.Default()
			hum := *b.Hum
			hum.Lines = slices.Clone(hum.Lines)
			b.Hum = &hum
			tt.fault(&b)
			sweepS := 0.7
			if tt.name == "hum" {
				sweepS = 1.4 // as the command's: in a faster one hum looks like lost samples
			}
			s := scout(t, b, tt.reference, sweepS, tt.planned)
			if tt.loud {
				s.AtLevel = loud(t, b, tt.planned)
			}
			r := Judge(s)
			var found []string
			advice := ""
			for _, f := range r.Findings {
				found = append(found, f.What)
				advice += f.Text + ": " + f.Advice + "\n"
			}
			if !slices.Equal(found, tt.want) || r.FitToTake != tt.fit {
				t.Errorf("found %v (fit to take: %v), want %v (%v)\n%s", found, r.FitToTake, tt.want, tt.fit, advice)
			}
			if !strings.Contains(advice, tt.advice) {
				t.Errorf("the advice %q does not say %q", advice, tt.advice)
			}
			if tt.name == "hum" {
				if r.Mains == nil || math.Abs(r.Mains.Hz-60.04) > 0.01 {
					t.Errorf("mains %+v, want 60.04 Hz", r.Mains)
				}
			}
		})
	}
}

// What a take at the level planned then shows is what was expected of it.
func TestExpectedPeakComesTrue(t *testing.T) {
	b := virtual.Default()
	r := Judge(scout(t, b, "current", 0.7, -12))
	take := scout(t, b, "current", 0.7, 6) // a scout at the level planned
	for i, want := range []float64{take.Take.Quality.PeakDBFS, quality.LevelOf(take.Recording.Samples[1]).PeakDBFS()} {
		if got := r.Channels[i].ExpectedPeakDBFS; math.Abs(got-want) > 0.1 {
			t.Errorf("channel %d: %.2f dBFS expected, %.2f came", i+1, got, want)
		}
	}
	if hz := take.peakHz(); r.PeakHz == nil || math.Abs(*r.PeakHz / *hz - 1) > 0.02 {
		t.Errorf("loudest at %v, then at %v", r.PeakHz, *hz)
	}
}

// Loads that damp a coil are told within a factor of about two; coils at
// inputs made for them are let pass.
func TestInputResistance(t *testing.T) {
	for _, tt := range []struct {
		load string
		low  bool
	}{{"4k7", true}, {"10k", true}, {"22k", true}, {"47k", true}, {"220k", false}, {"500k", false}, {"1M", false}} {
		for _, coil := range []struct {
			henry, ohm, pF float64
		}{{2.4, 7850, 175}, {4.4, 8200, 250}, {1.6, 5000, 120}} {
			b := virtual.Default()
			b.Coil.Inductance.SI, b.Coil.Resistance.SI, b.Coil.WindingC.SI = coil.henry, coil.ohm, (coil.pF-65)*1e-12
			b.Fixture.Resistance = ohm(t, tt.load)
			b.Input.FullScaleV = 0.1
			truth, err := b.Truth(capture.Load{}, 1)
			if err != nil {
				t.Fatal(err)
			}
			r := &response.Response{}
			for hz := 30.0; hz < 18000; hz *= 1.01 {
				r.FrequencyHz = append(r.FrequencyHz, hz)
				r.H = append(r.H, truth.Transfer(hz)*complex(3, 0))
				r.Variance = append(r.Variance, 1e-9)
			}
			got, low := inputOhm(r, coil.ohm)
			want := b.Fixture.Resistance.SI
			within := 2.2
			if want < coil.ohm {
				within = 4
			}
			if low != tt.low || low && (got < want/within || got > within*want) {
				t.Errorf("%v H at %s: %.3g ohm, low: %v; want low: %v", coil.henry, tt.load, got, low, tt.low)
			}
		}
	}
}
