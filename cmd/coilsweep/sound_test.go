//go:build linux && cgo

package main

import (
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"coilsweep/capture/soundcard/pulserig"
)

// The scripts in testdata/sound measure through PortAudio, each on a sound
// system of its own with a simulated coil in it: circuit a1 of testdata/spice
// without the part added there. They add to the commands of TestScripts:
//
//	unplug   kills the sound system
func TestSoundScripts(t *testing.T) {
	if testing.Short() {
		t.Skip("records in real time")
	}
	for _, file := range []string{"measure.txt", "unplug.txt"} {
		rig := pulserig.Start(t, pulserig.Coil{InductanceH: 2.2, ResistanceOhm: 6000, CapacitanceF: 250e-12, LoadOhm: 1e6})
		testscript.Run(t, testscript.Params{
			Files:               []string{"testdata/sound/" + file},
			RequireExplicitExec: true,
			Setup: func(env *testscript.Env) error {
				env.Vars = append(env.Vars, rig.Env()...)
				return nil
			},
			Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
				"exits":  exits,
				"grows":  grows,
				"unplug": func(*testscript.TestScript, bool, []string) { rig.Kill() },
			},
		})
	}
}
