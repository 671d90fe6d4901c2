package data

import (
	"bytes"
	"slices"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"coilsweep/fit/pair"
	"coilsweep/report/internal/invented"
	"coilsweep/report/schema"
)

// The schema of a pair takes what the program writes, and refuses what is wrong, by a
// validator from outside.
func TestPairSchema(t *testing.T) {
	var b bytes.Buffer
	at := slices.IndexFunc(Formats(), func(f schema.Format) bool { return f.ID() == pair.ResultSchema })
	schema := compiled(t, Formats()[at])
	if err := PairJSON(&b, invented.Pair()); err != nil {
		t.Fatal(err)
	}
	right := b.String()
	for _, c := range []struct {
		old, new string
		valid    bool
	}{{"", "", true}, {`"coupling"`, `"couple"`, false}, {`"at_least_db": 34.4`, `"at_least_db": "much"`, false},
		{`"hum_cancels_reversed": true`, `"hum_cancels_reversed": null`, true}} {
		text := strings.Replace(right, c.old, c.new, 1)
		if c.old != "" && text == right {
			t.Fatalf("%s is not there", c.old)
		}
		v, err := jsonschema.UnmarshalJSON(strings.NewReader(text))
		if err != nil {
			t.Fatal(err)
		}
		if err := schema.Validate(v); (err == nil) != c.valid {
			t.Errorf("%s for %s: %v", c.new, c.old, err)
		}
	}
}

// Connections stand below each other; what is not known is empty.
func TestPairCSV(t *testing.T) {
	var b bytes.Buffer
	if err := PairCSV(&b, invented.Pair(), CSVOptions{}); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(b.String()), "\n")
	if len(lines) != 1+4*120 || lines[0] != "frequency_hz,level_db,level_U95_db,connection" ||
		!strings.HasSuffix(lines[1], `,"series, in phase"`) || !strings.HasSuffix(lines[61], `,,,"series, in phase"`) ||
		!strings.HasSuffix(lines[480], `,"series, out of phase"`) {
		t.Errorf("%d lines: %q, %q, %q, %q", len(lines), lines[0], lines[1], lines[61], lines[480])
	}
}
