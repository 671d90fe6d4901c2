package data

import (
	"bytes"
	"fmt"
	"strings"

	"coilsweep/report/terminal"
)

// readme describes the archive for somebody who has never heard of the
// program. withoutNetlist says why there is no netlist; nil: there is one.
func readme(b *bytes.Buffer, c Archive, withoutNetlist error) error {
	line := func(format string, args ...any) { fmt.Fprintf(b, format+"\n", args...) }
	line("Measurement of the coil %s", strings.Join(strings.Fields(c.Result.Coil), " "))
	line("")
	line("Archive made by %s; numbers fitted by %s.", c.Program, c.Result.Program)
	if len(c.Takes) > 0 {
		line("Measured from %s to %s.", c.Takes[0].Started.Format("2006-01-02"), latest(c.Takes).Format("2006-01-02"))
	}
	line("")
	line("Files")
	line("  result.json          the numbers, SI units named in the keys, with u and U95")
	line("  result.schema.json   its format as a JSON Schema (draft 2020-12)")
	line("  response.csv         measured and fitted curves; second row: units")
	if withoutNetlist == nil {
		line("  circuit.cir          the fitted circuit for ngspice: ngspice -b circuit.cir")
	}
	line("  coil.toml            what was known of the coil before")
	line("  takes/NAME/take.toml how each take was made: load, drive, stimulus, levels, bench")
	if c.Audio {
		line("  takes/NAME/capture.wav  the audio as recorded: channel 1 coil, channel 2 reference")
	} else {
		line("  (the audio is not in this archive; its SHA-256 stands in each take.toml)")
	}
	line("  SHA256SUMS           checksums; sha256sum -c SHA256SUMS")
	if withoutNetlist != nil {
		line("")
		line("There is no netlist: %v.", withoutNetlist)
	}
	line("")
	line("Columns of response.csv")
	line("  %-18s %-5s %s", "take", "", "name of the take")
	line("  %-18s %-5s %s", "added_c", "F", "capacitor put across the coil on purpose")
	line("  %-18s %-5s %s", "added_r", "ohm", "resistor put across the coil on purpose; empty: none")
	for _, col := range tidyColumns {
		line("  %-18s %-5s %s", col.name, col.unit, col.means)
	}
	line("  An empty field is not known.")
	line("")
	line("Uncertainty")
	line("  u is the standard uncertainty, U95 the expanded one for 95 % (JCGM 100:2008). A quantity")
	line("  that cannot be known from these takes is null, with the reason under why.")
	line("")
	line("The numbers in short")
	line("")
	return terminal.Coil(b, c.Result, terminal.Options{Width: 90})
}
