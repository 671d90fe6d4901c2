package data

import (
	"fmt"
	"slices"
	"strings"

	"coilsweep/capture"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// readme describes the archive for somebody who has never heard of the
// program. withoutNetlist says why there is no netlist; nil: there is one.
func readme(c Archive, withoutNetlist error) string {
	var b strings.Builder
	line := func(parts ...string) { b.WriteString(strings.TrimRight(strings.Join(parts, ""), " ") + "\n") }
	entry := func(name, means string) { line(fmt.Sprintf("  %-21s %s", name, means)) }
	line(title(c))
	line()
	if identity := words.Identity(c.Result.About); identity != "" {
		line(notation.UpperFirst(identity), ".")
	}
	line("Archive made by ", c.Program, "; numbers fitted by ", c.Result.Program, ".")
	if len(c.Takes) > 0 {
		const date = "2006-01-02"
		first, last := c.Takes[0].Started, c.Takes[len(c.Takes)-1].Started
		line("Measured from ", first.Format(date), " to ", last.Format(date), " by the time zone ",
			last.Format("-07:00"), ".")
	}
	if by := words.Operators(c.Result.About); by != "" {
		line("Takes made by ", by, ".")
	}
	if len(c.Result.Instruments) > 0 {
		line()
		line("Instruments, as stated")
	}
	for _, u := range c.Result.Instruments {
		entry(u.Role, words.Instrument(u, len(c.Result.Takes)))
	}
	line()
	line("Files")
	entry("result.json", "the numbers, SI units named in the keys, with u and U95")
	entry("result.schema.json", "its format as a JSON Schema (draft 2020-12)")
	entry("response.csv", "measured and fitted curves; the units end the names of the columns")
	entry("branch.csv", "the winding at the frequencies of meters: L and AC resistance in series")
	if withoutNetlist == nil {
		entry("circuit.cir", "the fitted circuit for ngspice: ngspice -b circuit.cir")
	}
	if c.WithoutImpedance == nil {
		entry("impedance.csv", "impedance of the coil alone, by the fitted circuit, with its uncertainty")
		entry("impedance.s1p", "the same as a Touchstone file of one port, in ohm, without the uncertainty")
	}
	if c.Authors != nil {
		entry("CITATION.cff", "how to cite this archive (Citation File Format 1.2.0)")
	}
	entry("read.py", "an example: draws the response and works out L; python3 read.py ARCHIVE.zip FIGURE.svg")
	entry("coil.toml", "what was known of the coil before")
	entry("takes/NAME/take.toml", "how each take was made: load, drive, stimulus, levels, bench")
	if c.Audio {
		for _, file := range []string{capture.AudioFile, capture.FLACFile} {
			if slices.ContainsFunc(c.Takes, func(t capture.Take) bool { return t.Audio.File == file }) {
				entry("takes/NAME/"+file, "the audio as recorded: channel 1 coil, channel 2 reference")
			}
		}
	} else {
		line("  (the audio is not in this archive; its SHA-256 is in each take.toml)")
	}
	entry("SHA256SUMS", "checksums; sha256sum -c SHA256SUMS")
	for _, missing := range []struct {
		what string
		why  error
	}{{"netlist", withoutNetlist}, {"impedance", c.WithoutImpedance}, {"citation file", withoutCitation(c)}} {
		if missing.why != nil {
			line()
			line("There is no ", missing.what, ": ", missing.why.Error(), ".")
		}
	}
	line()
	line("Columns of response.csv")
	for _, column := range takeColumns {
		entry(column[0], column[1])
	}
	for _, column := range responseColumns {
		entry(column.name, column.means)
	}
	entry(takeStarted[0], takeStarted[1])
	line("  An empty field is not known.")
	line()
	line("Columns of branch.csv")
	for _, column := range branchColumns {
		entry(column[0], column[1])
	}
	if c.WithoutImpedance == nil {
		line()
		line("Columns of impedance.csv")
		for _, c := range impedanceColumns {
			entry(c.name, c.means)
			if c.of != nil {
				entry(column(c.name, "U95", true), "its expanded uncertainty, 95 %")
			}
		}
		line("  An empty field is not known. Next to the resonance U95 is that of a linear propagation: where it is")
		line("  more than a tenth of the magnitude, it is rough.")
	}
	line()
	line("Uncertainty")
	line("  u is the standard uncertainty, U95 the expanded one for 95 % coverage (JCGM 100:2008).")
	line("  A quantity that cannot be known from these takes is null, with the reason under why.")
	line()
	line("The numbers in short, ± is U95")
	for _, n := range words.Numbers(c.Result) {
		entry(strings.TrimSpace(n.Name+" "+n.Symbol), notation.Quantity(n.Quantity, n.Unit)+", "+n.Note)
	}
	if points := words.Branch(c.Result); points != nil {
		line("  ", words.BranchTitle, ":")
		for _, p := range points {
			frequency, note := words.BranchPlace(p)
			line("  ", strings.TrimSuffix(frequency+", "+note, ", "))
			for _, column := range words.BranchColumns {
				entry("  "+column.Name, notation.Quantity(column.Of(p), column.Unit))
			}
		}
	}
	if len(c.Result.Basis) > 0 {
		line("  Based on ", strings.Join(notation.Each(c.Result.Basis, notation.Visible), "; "), ".")
	}
	line("  Model: ", words.Model(c.Result.Model), ".")
	for _, warning := range c.Result.Warnings {
		line("  Warning: ", notation.Visible(warning))
	}
	return b.String()
}
