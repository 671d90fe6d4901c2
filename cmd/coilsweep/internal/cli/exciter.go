package cli

import (
	"io"

	"github.com/spf13/cobra"

	"coilsweep/cmd/coilsweep/internal/exciterplan"
	"coilsweep/cmd/coilsweep/internal/screen"
	"coilsweep/excite/exciter"
	"coilsweep/report/data"
	"coilsweep/report/notation"
	"coilsweep/report/terminal"
	"coilsweep/report/words"
)

func newExciter(c *console) *cobra.Command {
	plan := exciterplan.New()
	return c.command(&cobra.Command{
		Use:   "exciter",
		Short: "Work out an exciter coil and its drive, or what to wind from the parts at hand",
		Long: `Work out an exciter coil from bobbin, wire and turns: resistance, inductance, the
series resistor that keeps its current even, heat, field, and the expected signal
in a coil. Without --turns it finds the turns that give most signal.

With several --wire, --bobbin and --resistor from the drawer it works out the best
number of turns of each wire on each bobbin with one of the resistors, and lists
them, the strongest first.

The core is the diameter under the first layer, the flange the diameter to which
the bobbin may be filled. The coil under test counts as a coaxial circle of the
same area, without iron: the signal is good to about 20 %.

Never drive an exciter from a mains-powered amplifier or from a valve
amplifier's loudspeaker tap.`,
		Example: `  coilsweep exciter --core 10mm --flange 25mm --length 8mm --wire "AWG 34" --turns 60
  coilsweep exciter --core 10mm --flange 25mm --length 8mm --wire 0.1mm --wire 0.2mm --wire 0.4mm
  coilsweep exciter --bobbin "10mm x 25mm x 8mm" --bobbin "6mm x 15mm x 4mm" --wire 0.1mm --wire 0.2mm --resistor 220 --resistor 470 --resistor 1k`,
		Args: noArgs,
		RunE: func(*cobra.Command, []string) error {
			sheet, err := plan.Work()
			if err != nil {
				return err
			}
			return c.showRecord(exciterJSON(sheet), func(w io.Writer) error {
				return terminal.Exciter(w, sheet, screen.TableOptions(w))
			}, nil)
		},
	}, plan.Options, output(c.jsonOption("the result")))
}

// exciterJSON is the sheet for programs, in SI units.
func exciterJSON(s words.ExciterSheet) data.Object {
	estimate := func(e exciter.Estimate) data.Object {
		b, wire := e.Bobbin, e.Coil.Wire
		return data.Object{{"core_m", b.CoreDiameterM}, {"flange_m", b.FlangeDiameterM}, {"length_m", b.LengthM},
			{"distance_m", e.DistanceM}, // middle to middle
			{"wire", wire.Name}, {"wire_bare_m", wire.BareM}, {"wire_outer_m", wire.OuterM}, {"turns", e.Coil.Turns},
			{"turns_that_fit", b.TurnsThatFit(wire, s.Packing)}, {"wire_length_m", e.Coil.WireM()},
			{"winding_depth_m", e.Coil.DepthM}, {"winding_celsius", e.Celsius}, {"resistance_ohm", e.ResistanceOhm},
			{"inductance_h", e.InductanceH}, {"inductance_U95_h", 0.01 * e.InductanceH},
			{"inductance_wheeler_h", e.WheelerH}, {"self_capacitance_f", e.SelfCapacitanceF},
			{"self_resonance_hz", e.SelfResonanceHz}, {"series_needed_ohm", e.NeededOhm}, {"series_ohm", e.SeriesOhm},
			{"current_drop_db", e.DropDB}, {"current_a_rms", e.CurrentA}, {"coil_w", e.CoilW}, {"series_w", e.SeriesW},
			{"temperature_rise_k", e.RiseK}, {"axis_field_t_rms", e.AxisFieldT}, {"mutual_h", e.MutualH},
			{"emf_1khz_v_rms", e.EMFV1k}, {"warnings", append([]string{}, e.Warnings...)}}
	}
	return data.Object{{"exciters", notation.Each(s.Estimates, estimate)}, {"cautions", words.Cautions()}}
}
