//go:build linux && cgo

package main

import (
	"encoding/json"
	"errors"
	"math"
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"coilsweep/capture/soundcard/pulserig"
	"coilsweep/excite/quantity"
)

// rigCoil is circuit a1 of testdata/spice without the part added there.
var rigCoil = pulserig.Coil{InductanceH: 2.2, ResistanceOhm: 6000, CapacitanceF: 250e-12, LoadOhm: 1e6}

// The scripts in testdata/sound measure through PortAudio, each on a sound
// system of its own with rigCoil in it. They add to the commands of
// TestScripts:
//
//	clip CAPACITANCE              puts a capacitor across the coil
//	load MODULE ARGUMENT...       loads a module into the sound system
//	input NAME SOURCE [default]   shows a source of it as a sound device
//	mute SOURCE, unmute SOURCE    mutes a source, and lets it be heard again
//	whatever PROGRAM ARGUMENT...  runs a program that may find the data usable or not
//	unplug                        kills the sound system
//	within DURATION               wants that no more time has passed since then
//	near FILE VALUE WANT PERCENT  wants a value of result.json near a number
//	resonates FILE TAKE CAPACITANCE PERCENT
//	                              wants a take's resonance near the circuit's
//	covers FILE VALUE WANT        wants a number within U95 of a value
func TestSoundScripts(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("records in real time")
	}
	for _, name := range []string{"measure", "fit", "check", "unplug", "devices"} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			testSoundScript(t, "testdata/sound/"+name+".txt")
		})
	}
}

func testSoundScript(t *testing.T, file string) {
	rig := pulserig.Start(t, rigCoil)
	var unplugged time.Time
	testscript.Run(t, testscript.Params{
		Files:               []string{file},
		RequireExplicitExec: true,
		Setup: func(env *testscript.Env) error {
			env.Vars = append(env.Vars, rig.Env()...)
			return nil
		},
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			"exits": exits,
			"grows": grows,
			"clip": func(ts *testscript.TestScript, _ bool, args []string) {
				rig.SetAddedCapacitance(farads(ts, args[0]))
			},
			"load": func(ts *testscript.TestScript, _ bool, args []string) { ts.Check(rig.Load(args[0], args[1:]...)) },
			"input": func(ts *testscript.TestScript, _ bool, args []string) {
				ts.Check(rig.AddInput(args[0], args[1], len(args) > 2))
			},
			"whatever": func(ts *testscript.TestScript, _ bool, args []string) {
				var exit *exec.ExitError
				if err := ts.Exec(args[0], args[1:]...); err != nil && (!errors.As(err, &exit) || exit.ExitCode() != 3) {
					ts.Fatalf("%v", err)
				}
			},
			"mute":   func(ts *testscript.TestScript, _ bool, args []string) { ts.Check(rig.Mute(args[0], true)) },
			"unmute": func(ts *testscript.TestScript, _ bool, args []string) { ts.Check(rig.Mute(args[0], false)) },
			"unplug": func(*testscript.TestScript, bool, []string) {
				unplugged = time.Now()
				rig.Kill()
			},
			"within": func(ts *testscript.TestScript, _ bool, args []string) {
				limit, err := time.ParseDuration(args[0])
				ts.Check(err)
				if took := time.Since(unplugged); took > limit {
					ts.Fatalf("it took %v, more than %v", took, limit)
				}
			},
			"near": func(ts *testscript.TestScript, _ bool, args []string) {
				near(ts, args[1], resultValue(ts, args[0], args[1]).Value, args[2], args[3])
			},
			"covers": func(ts *testscript.TestScript, _ bool, args []string) {
				got, want := resultValue(ts, args[0], args[1]), number(ts, args[2])
				if math.Abs(got.Value-want) > got.U95 {
					ts.Fatalf("%s is %.6g ± %.2g, want %g", args[1], got.Value, got.U95, want)
				}
			},
			"resonates": func(ts *testscript.TestScript, _ bool, args []string) {
				want := resonanceHz(rigCoil, farads(ts, args[2]))
				near(ts, "resonance of "+args[1], takeResonance(ts, args[0], args[1]),
					strconv.FormatFloat(want, 'g', -1, 64), args[3])
			},
		},
	})
}

// resonanceHz is the modulus of the pole pair of a coil (R and L in series)
// with C and a resistor across it: w² = (1 + R/R_load)/(L C), the constant
// term of its characteristic polynomial.
func resonanceHz(c pulserig.Coil, addedF float64) float64 {
	return math.Sqrt((1+c.ResistanceOhm/c.LoadOhm)/(c.InductanceH*(c.CapacitanceF+addedF))) / (2 * math.Pi)
}

// value is a quantity of result.json as its readers see it.
type value struct {
	Value, U, U95 float64
	Why           string
}

func readResult(ts *testscript.TestScript, file string, into any) {
	ts.Check(json.Unmarshal([]byte(ts.ReadFile(file)), into))
}

func resultValue(ts *testscript.TestScript, file, key string) value {
	var keys map[string]json.RawMessage
	readResult(ts, file, &keys)
	var v value
	ts.Check(json.Unmarshal(keys[key], &v))
	if v.Why != "" || v.Value == 0 {
		ts.Fatalf("%s is not known: %s", key, v.Why)
	}
	return v
}

func takeResonance(ts *testscript.TestScript, file, take string) float64 {
	var result struct {
		Takes []struct {
			Name      string
			Resonance value `json:"resonance_hz"`
		}
	}
	readResult(ts, file, &result)
	for _, t := range result.Takes {
		if t.Name == take {
			return t.Resonance.Value
		}
	}
	ts.Fatalf("no take %q in %s", take, file)
	return 0
}

func near(ts *testscript.TestScript, what string, got float64, want, percent string) {
	w, p := number(ts, want), number(ts, percent)
	off := 100 * (got/w - 1)
	ts.Logf("%s: %.6g, want %.6g: %+.3f %%", what, got, w, off)
	if !(math.Abs(off) <= p) {
		ts.Fatalf("%s is %.6g, want %.6g ± %g %%", what, got, w, p)
	}
}

func number(ts *testscript.TestScript, text string) float64 {
	x, err := strconv.ParseFloat(strings.TrimSuffix(text, "%"), 64)
	ts.Check(err)
	return x
}

// farads reads a capacitance; 0 is none.
func farads(ts *testscript.TestScript, text string) float64 {
	if text == "0" {
		return 0
	}
	c, err := quantity.ParseCapacitance(text)
	ts.Check(err)
	return c.SI
}
