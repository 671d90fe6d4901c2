package main

import (
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"coilsweep/capture"
)

// takeFlags say what a take is: its name, the load on the coil, and how the
// exciter was driven. Measuring and importing share them.
type takeFlags struct {
	name             string
	addedC, fixtureC capacitanceFlag
	addedR, fixtureR resistanceFlag
	drive            string
	exciterR, senseR resistanceFlag
	exciterL         inductanceFlag
	reference        string
	coilChannel      int
	referenceChannel int
}

func (t *takeFlags) add(f *pflag.FlagSet) {
	f.StringVar(&t.name, "take", "", "name of the take: letters, digits, - and _")
	t.addWiring(f)
}

// addWiring adds all but the name.
func (t *takeFlags) addWiring(f *pflag.FlagSet) {
	f.Var(&t.addedC, "added-c", `capacitor put across the coil, "470p 1%"`)
	f.Var(&t.addedR, "added-r", `resistor put across the coil, "100k 1%"`)
	f.Var(&t.fixtureC, "fixture-c", "capacitance of cable, input and clips")
	f.Var(&t.fixtureR, "fixture-r", "resistance of the input")
	f.StringVar(&t.drive, "drive", "current", "how the exciter is driven: current or voltage")
	f.Var(&t.exciterR, "exciter-r", "resistance in the exciter's loop: output, series resistor, coil")
	f.Var(&t.exciterL, "exciter-l", "inductance of the exciter")
	f.StringVar(&t.reference, "reference", "none", "second channel: none, current or loopback")
	f.Var(&t.senseR, "sense-r", "sense resistor of a current reference")
	f.IntVar(&t.coilChannel, "coil-channel", 1, "channel with the coil, from 1")
	f.IntVar(&t.referenceChannel, "reference-channel", 2, "channel with the reference, from 1")
}

// take is the plan of the take. What contradicts itself is wrong use.
func (t *takeFlags) take(cmd *cobra.Command) (capture.Take, error) {
	if t.name == "" {
		return capture.Take{}, usagef("the take needs a name: --take NAME")
	}
	if err := capture.CheckTakeName(t.name); err != nil {
		return capture.Take{}, usageError{err}
	}
	return t.plan(cmd)
}

// plan is take without a name.
func (t *takeFlags) plan(cmd *cobra.Command) (capture.Take, error) {
	given := cmd.Flags().Changed
	switch t.drive {
	case "current":
		if !given("drive") && (given("exciter-r") || given("exciter-l")) {
			return capture.Take{}, usagef("--exciter-r and --exciter-l go with --drive: voltage takes the fall of the current that they make out, current only says how large it is")
		}
		if given("exciter-l") && !given("exciter-r") {
			return capture.Take{}, usagef("--exciter-l needs the resistance in the exciter's loop beside it: --exciter-r")
		}
	case "voltage":
		if !given("exciter-r") {
			return capture.Take{}, usagef("--drive voltage needs the resistance in the exciter's loop: --exciter-r")
		}
	default:
		return capture.Take{}, usagef("--drive %s: want current or voltage", t.drive)
	}
	switch t.reference {
	case "none", "loopback":
		if given("sense-r") {
			return capture.Take{}, usagef("--sense-r belongs to --reference current")
		}
		if t.reference == "none" && given("reference-channel") {
			return capture.Take{}, usagef("--reference-channel needs --reference current or loopback")
		}
	case "current":
	default:
		return capture.Take{}, usagef("--reference %s: want none, current or loopback", t.reference)
	}
	if t.coilChannel < 1 || t.referenceChannel < 1 {
		return capture.Take{}, usagef("channels count from 1")
	}
	if t.reference != "none" && t.coilChannel == t.referenceChannel {
		return capture.Take{}, usagef("coil and reference are both said to be on channel %d", t.coilChannel)
	}
	return capture.Take{
		Name:    t.name,
		Program: programName(),
		Load: capture.Load{
			AddedC: t.addedC.value, AddedR: t.addedR.value,
			FixtureC: t.fixtureC.value, FixtureR: t.fixtureR.value,
		},
		Drive: capture.Drive{
			Kind: t.drive, Assumed: !given("drive"),
			ExciterR: t.exciterR.value, ExciterL: t.exciterL.value,
		},
		Reference: capture.Reference{Kind: t.reference, SenseR: t.senseR.value},
	}, nil
}

// channels are those of the take; the reference's is 0 where there is none.
func (t *takeFlags) channels() (coil, reference int) {
	if t.reference == "none" {
		return t.coilChannel, 0
	}
	return t.coilChannel, t.referenceChannel
}
