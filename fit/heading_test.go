package fit

import (
	"encoding/json"
	"os"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// headOf is what Heading says that it has of a result.
func headOf(r Result) Result {
	takes := r.Takes
	if r.BareResonance.Known() {
		takes = nil
	}
	return Result{Takes: takes, Schema: r.Schema, Program: r.Program, Coil: r.Coil, Inductance: r.Inductance,
		Capacitance: r.Capacitance, Resistance: r.Resistance, BareResonance: r.BareResonance, BareQ: r.BareQ,
		Contradicted: r.Contradicted, Record: r.Record}
}

// The heading is what the whole reader finds, or fails as it does.
func FuzzHeading(f *testing.F) {
	text, err := os.ReadFile("testdata/result.json")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(text)
	for _, s := range []string{
		`{"BAre_resonAnCe_hZ":{"value":1}}`, `{"\u0063oil":"a","bare_resonance_hz":{"value":1}}`,
		`{}`, `{"coil":"a"}`, ` { "coil" : "a \"quoted\\" , "takes":[{"name":"}]"}], "bare_q":{"value":3} } `,
		`{"coil":"a","coil":"b","bare_resonance_hz":{"value":8e3,"u":1,"U95":2}}`,
		`{"bare_resonance_hz":{"value":8e3},"takes":[],"coil":"a`, `{"coil":"a"}}`, `{"coil":"a",}`, `{"coil":}`,
		`{"coil" "a"}`, `{,}`, `[]`, `null`, ``, `{"coil":1}`, `{"coil":"a"}x`, "{\"coil\":\"\\", `{"":1}`,
		`{"bare_resonance_hz":{"value":8e3},"contradicted":["x"],"record":{"analysis":3}}`,
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		got, err := Heading(text)
		var whole Result
		wholeErr := json.Unmarshal(text, &whole)
		// What is passed over may be wrong inside.
		if wholeErr == nil && (err != nil || !cmp.Equal(headOf(*got), headOf(whole), cmpopts.EquateNaNs())) {
			t.Fatalf("%s: %+v, %v; it is %+v", text, got, err, whole)
		}
	})
}

// Half a file is not taken for a whole one.
func TestHeadingOfHalfAFile(t *testing.T) {
	text, err := os.ReadFile("testdata/result.json")
	if err != nil {
		t.Fatal(err)
	}
	r, err := Heading(text)
	if err != nil || !r.BareResonance.Known() || len(r.Takes) != 0 || r.Record == nil {
		t.Fatalf("the whole: %+v, %v", r, err)
	}
	end := len(text)
	for text[end-1] != '}' {
		end--
	}
	for n := 0; n < end; n += 7 {
		if r, err := Heading(text[:n]); err == nil {
			t.Fatalf("%d of %d bytes are %+v", n, len(text), r)
		}
	}
}
