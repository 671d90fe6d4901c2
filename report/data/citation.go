package data

import (
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"coilsweep/report/notation"
)

// citation is a file by the Citation File Format, version 1.2.0 (S. Druskat and others,
// 2021), which makes the archive easy to cite. It names only the authors that were given:
// the format wants one at least. Every value is a string of JSON, which YAML takes as it is.
func citation(c Archive, resultSHA256 string) string {
	var b strings.Builder
	text := func(s string) string {
		quoted, _ := json.Marshal(notation.Visible(s)) // of a string there is no error
		return string(quoted)
	}
	line := func(key, value string) { fmt.Fprintf(&b, "%s: %s\n", key, text(value)) }
	line("cff-version", "1.2.0")
	line("message", "If you use these data, please cite them as below.")
	line("type", "dataset")
	line("title", title(c))
	line("abstract", fmt.Sprintf("Frequency response, resonance, inductance, capacitance and resistance of a coil, "+
		"each with its uncertainty. Numbers fitted by %s, archive made by %s.", c.Result.Program, c.Program))
	b.WriteString("authors:\n")
	for _, name := range c.Authors {
		b.WriteString("  - name: " + text(name) + "\n")
	}
	if len(c.Takes) > 0 {
		line("date-released", latest(c.Takes).Format(time.DateOnly))
	}
	b.WriteString("keywords:\n")
	for _, word := range []string{"guitar pickup", "inductance", "capacitance", "resonance", "frequency response",
		"measurement uncertainty"} {
		b.WriteString("  - " + text(word) + "\n")
	}
	fmt.Fprintf(&b, "identifiers:\n  - type: \"other\"\n    value: %s\n    description: %s\n",
		text("sha256:"+resultSHA256), text("SHA-256 of result.json, which holds those of all recordings"))
	return b.String()
}

// title is what the archive is called.
func title(c Archive) string {
	return "Measurement of the coil " + strings.Join(strings.Fields(c.Result.Coil), " ")
}

// withoutCitation says why the archive has no citation file; nil: it has one.
func withoutCitation(c Archive) error {
	if c.Authors == nil {
		return errors.New("no author was named, and the format wants one")
	}
	return nil
}
