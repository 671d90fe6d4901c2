package data

import (
	"archive/zip"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io"
	"maps"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"coilsweep/capture"
	"coilsweep/fit"
	"coilsweep/fit/circuit"
	"coilsweep/fit/evaluation"
	"coilsweep/report/schema"
	"coilsweep/report/words"
)

func known(value float64) fit.Quantity {
	return fit.Quantity{Value: value, U: 0.01 * math.Abs(value), U95: 0.0196 * math.Abs(value)}
}

// inventedResult is an invented coil with one take and one that is not used.
func inventedResult() fit.Result {
	unknown := fit.Unknown("one take")
	asymmetric := known(3)
	asymmetric.Low, asymmetric.High = 2.9, 3.2
	started := time.Date(2026, 2, 3, 4, 5, 6, 0, time.UTC)
	return fit.Result{
		Schema: fit.ResultSchema, Program: "coilsweep test", Coil: "Invented\ncoil",
		Inductance: known(2.4), Capacitance: known(175e-12), CapacitanceCoil: known(110e-12), Resistance: known(7850),
		BareResonance: known(10100), BareQ: asymmetric,
		Eddy: []fit.Eddy{{Share: known(0.09), Corner: known(6000), Form: "ring"},
			{Share: known(0.05), Corner: known(21000), Form: "ring"}},
		Branch: []fit.BranchPoint{{Hz: 1000, Inductance: known(2.36), Resistance: known(8100)},
			{Hz: 8000, Inductance: known(2.2), Resistance: unknown}},
		Model: fit.Model{Name: "two rings", Chi2Reduced: 1.02, DoF: 900,
			Tried: []fit.Tried{{Name: "two rings", Parameters: 7, BIC: 12}}},
		Covariance: &fit.Covariance{Order: []string{"inductance_h"}, Matrix: [][]float64{{5.8e-4}}},
		Line: &fit.Line{Slope: known(2.4), Intercept: known(4e-10), AxisCrossing: known(-175e-12),
			Points: []fit.LinePoint{{Take: "bare", InverseW2: 4e-10}}},
		Budget:   []fit.Budget{{Quantity: "inductance_h", Shares: []fit.BudgetLine{{Source: "noise", Percent: 100}}}},
		Advice:   []fit.Advice{{Text: "add", Quantity: "inductance_h"}},
		Warnings: []string{"none"},
		Record: &fit.Record{CoilSHA256: "c0", Takes: []fit.TakeRecord{{Name: "bare", SHA256: "b0",
			Started: &started, Flags: []capture.Flag{capture.Hum}}}, Options: fit.Options{}.Record()},
		Takes: []fit.TakeResult{
			{Name: "bare", Used: true, SNRdB: 70, Resonance: known(8000), LC: known(7700), Peak: known(7900),
				PeakDB: known(12), Q: known(3.9), WidthHz: unknown,
				Curve: &fit.Curve{FrequencyHz: []float64{100, 200, 400}, MagnitudeDB: []float64{0, 0.1, 0.4},
					Residual: []complex128{1 + 2i, math.Pi, -1i}, Harmonic2DB: []float64{-70, math.NaN(), -71}}},
			{Name: "loud", AddedR: new(1e5), Flags: []string{"clipped"}, Resonance: unknown, LC: unknown,
				Peak: unknown, PeakDB: unknown, Q: unknown, WidthHz: unknown},
		},
	}
}

func contents(audio bool) Archive {
	return Archive{
		Result: inventedResult(), Audio: audio, Program: "coilsweep test",
		Takes: []capture.Take{{Name: "bare", Started: time.Date(2026, 2, 3, 4, 5, 6, 0, time.UTC),
			Audio: capture.Audio{File: capture.AudioFile}},
			{Name: "loud", Started: time.Date(2026, 2, 3, 5, 0, 0, 0, time.UTC),
				Audio: capture.Audio{File: capture.FLACFile}}},
		Impedance: []fit.Impedance{{Hz: 100, Resistance: known(7900), Reactance: known(1500), Correlation: 0.25,
			Magnitude: known(8041.1), PhaseDeg: known(10.751)}, {Hz: 1000, Resistance: fit.Unknown("one take"),
			Reactance: known(1), Correlation: math.NaN(), Magnitude: fit.Unknown("one take"), PhaseDeg: known(1)}},
		Authors: []string{"A. Winder", "Coil \"Lab\" <é>"},
		Open: func(path string) (io.ReadCloser, error) {
			return io.NopCloser(strings.NewReader("content of " + path)), nil
		},
	}
}

// files of an archive, as the standard library's reader finds them.
func files(t *testing.T, data []byte) (names []string, text map[string]string) {
	t.Helper()
	in, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	text = map[string]string{}
	for _, f := range in.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		b, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		names, text[f.Name] = append(names, f.Name), string(b)
	}
	return names, text
}

func packed(t *testing.T, c Archive) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := WriteArchive(&b, c); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestWriteArchive(t *testing.T) {
	data := packed(t, contents(true))
	names, text := files(t, data)
	want := "README.txt result.json result.schema.json response.csv branch.csv circuit.cir impedance.csv impedance.s1p " +
		"CITATION.cff read.py coil.toml takes/bare/take.toml takes/bare/capture.wav takes/loud/take.toml " +
		"takes/loud/capture.flac SHA256SUMS"
	if got := strings.Join(names, " "); got != want {
		t.Errorf("files %s, want %s", got, want)
	}
	if text["takes/bare/capture.wav"] != "content of takes/bare/capture.wav" {
		t.Errorf("audio %q", text["takes/bare/capture.wav"])
	}
	for _, file := range names {
		if file != "SHA256SUMS" && !strings.Contains(text["README.txt"],
			strings.Replace(strings.Replace(file, "bare", "NAME", 1), "loud", "NAME", 1)) && file != "README.txt" {
			t.Errorf("README.txt does not speak of %s", file)
		}
	}
	// The checksums are right, and every file has one.
	sums := strings.Fields(text["SHA256SUMS"])
	if len(sums) != 2*(len(names)-1) {
		t.Fatalf("%d checksums for %d files", len(sums)/2, len(names)-1)
	}
	for i := 0; i < len(sums); i += 2 {
		sum := sha256.Sum256([]byte(text[sums[i+1]]))
		if sums[i] != hex.EncodeToString(sum[:]) {
			t.Errorf("checksum of %s is wrong", sums[i+1])
		}
	}
	if !bytes.Equal(data, packed(t, contents(true))) {
		t.Error("the same contents give other bytes")
	}
	if names, text = files(t, packed(t, contents(false))); strings.Contains(strings.Join(names, " "), "capture.") ||
		!strings.Contains(text["README.txt"], "the audio is not in this archive") {
		t.Error("audio that was not asked for, or not spoken of")
	}
	broken := contents(true)
	broken.Open = func(path string) (io.ReadCloser, error) { return nil, errors.New(path + " is gone") }
	if err := WriteArchive(io.Discard, broken); err == nil || !strings.Contains(err.Error(), "coil.toml is gone") {
		t.Errorf("a file that is gone: %v", err)
	}
}

// The README says what every column holds, and no format string shows through.
func TestReadme(t *testing.T) {
	for _, audio := range []bool{true, false} {
		_, text := files(t, packed(t, contents(audio)))
		if strings.Contains(text["README.txt"], "%!") {
			t.Errorf("README.txt holds %.60q", text["README.txt"][strings.Index(text["README.txt"], "%!"):])
		}
		header, _, _ := strings.Cut(text["response.csv"], "\n")
		branch, _, _ := strings.Cut(text["branch.csv"], "\n")
		impedance, _, _ := strings.Cut(text["impedance.csv"], "\n")
		for _, name := range strings.Split(header+","+branch+","+impedance, ",") {
			if !regexp.MustCompile(`(?m)^  ` + name + ` +\S`).MatchString(text["README.txt"]) {
				t.Errorf("README.txt does not say what %s is", name)
			}
		}
		for _, want := range []string{"95 % coverage (JCGM 100:2008)", "2.400 ± 0.047 H, at low frequency",
			"Model: two rings",
			"  1 kHz\n    L in series         2.360 ± 0.046 H\n    AC resistance       8.10 ± 0.16 kΩ\n",
			"  8.000 kHz, resonance with nothing added\n", "    AC resistance       not known: one take\n"} {
			if !strings.Contains(text["README.txt"], want) {
				t.Errorf("README.txt lacks %q", want)
			}
		}
	}
}

// What is missing has its reason in the README, and no file.
func TestArchiveOfLittle(t *testing.T) {
	c := contents(false)
	c.Authors, c.Impedance, c.WithoutImpedance = nil, nil, errors.New("the fixture is a riddle")
	names, text := files(t, packed(t, c))
	for _, name := range []string{"CITATION.cff", "impedance.csv", "impedance.s1p"} {
		if slices.Contains(names, name) || strings.Contains(text["README.txt"], name) {
			t.Errorf("%s is there, or spoken of", name)
		}
	}
	for _, want := range []string{"\nThere is no impedance: the fixture is a riddle.\n",
		"\nThere is no citation file: no author was named, and the format wants one.\n"} {
		if !strings.Contains(text["README.txt"], want) {
			t.Errorf("README.txt lacks %q", want)
		}
	}
}

// The impedance in both files; what is not known is empty in one and left out of the other.
func TestImpedanceFiles(t *testing.T) {
	_, text := files(t, packed(t, contents(false)))
	const table = "frequency_hz,resistance_ohm,resistance_U95_ohm,reactance_ohm,reactance_U95_ohm,correlation," +
		"magnitude_ohm,magnitude_U95_ohm,phase_deg,phase_U95_deg\n" +
		"100,7900,154.84,1500,29.4,0.25,8041.1,157.60556,10.751,0.2107196\n1000,,,1,0.0196,,,,1,0.0196\n"
	if text["impedance.csv"] != table {
		t.Errorf("got\n%s\nwant\n%s", text["impedance.csv"], table)
	}
	const port = "! impedance of the coil \"Invented coil\" alone, ohm; its uncertainty stands in impedance.csv\n" +
		"# HZ Z RI R 1\n! frequency, real part, imaginary part\n100 7900 1500\n"
	if text["impedance.s1p"] != port {
		t.Errorf("got\n%s\nwant\n%s", text["impedance.s1p"], port)
	}
}

// The citation file keeps to the schema of the Citation File Format, version 1.2.0: these
// keys of it, the first four required, dates and lists as they are to be; each author is an
// entity, which has a name; the checksum is that of result.json.
func TestCitation(t *testing.T) {
	_, text := files(t, packed(t, contents(false)))
	values, list := map[string][]string{}, ""
	for line := range strings.Lines(text["CITATION.cff"]) {
		line, item := strings.CutPrefix(strings.TrimRight(line, "\n"), "  ")
		key, value := list, ""
		if !item {
			key, value, _ = strings.Cut(line, ":")
			list = key
			if strings.TrimSpace(value) == "" {
				continue // the list follows
			}
		} else if value = strings.TrimPrefix(strings.TrimPrefix(line, "- "), "  "); list != "keywords" {
			var of string
			of, value, _ = strings.Cut(value, ":")
			key += "." + of
		}
		var scalar string
		if err := json.Unmarshal([]byte(value), &scalar); err != nil || scalar == "" {
			t.Errorf("%q is no text: %v", line, err)
		}
		values[key] = append(values[key], scalar)
	}
	sum := sha256.Sum256([]byte(text["result.json"]))
	for key, want := range map[string]string{"cff-version": "1.2.0", "type": "dataset",
		"title": "Measurement of the coil Invented coil", "authors.name": "A. Winder|Coil \"Lab\" <é>",
		"date-released": "2026-02-03", "identifiers.type": "other",
		"identifiers.value": "sha256:" + hex.EncodeToString(sum[:])} {
		if got := strings.Join(values[key], "|"); got != want {
			t.Errorf("%s is %q, want %q", key, got, want)
		}
	}
	known := []string{"abstract", "authors.name", "cff-version", "date-released", "identifiers.description",
		"identifiers.type", "identifiers.value", "keywords", "message", "title", "type"}
	if got := slices.Sorted(maps.Keys(values)); !slices.Equal(got, known) {
		t.Errorf("keys %q, want %q", got, known)
	}
	words := slices.Sorted(slices.Values(values["keywords"]))
	if len(words) < 3 || len(slices.Compact(words)) != len(words) {
		t.Errorf("keywords %q", words)
	}
	if !strings.Contains(values["abstract"][0], "coilsweep test") {
		t.Errorf("no program in %q", values["abstract"])
	}
}

// The curves in an archive are those of the coil folder.
func TestArchiveHoldsTheSameCurves(t *testing.T) {
	_, text := files(t, packed(t, contents(false)))
	var b bytes.Buffer
	if err := ResultCSV(&b, inventedResult(), CSVOptions{}); err != nil {
		t.Fatal(err)
	}
	if text["response.csv"] != b.String() {
		t.Errorf("response.csv of the archive is\n%s\nthat of the folder\n%s", text["response.csv"], b.String())
	}
}

// Times in files for other programs have their zone.
func TestTimesHaveTheirZone(t *testing.T) {
	r := inventedResult()
	at := r.Record.Takes[0].Started.In(time.FixedZone("", 90*60))
	r.Record.Takes[0].Started = &at
	c := contents(false)
	c.Result, c.Takes[1].Started = r, at
	_, text := files(t, packed(t, c))
	lines := strings.Split(text["response.csv"], "\n")
	if !strings.HasSuffix(lines[0], ",take_started") || !strings.HasSuffix(lines[1], ",2026-02-03T05:35:06+01:30") {
		t.Errorf("response.csv begins with\n%s\n%s", lines[0], lines[1])
	}
	if want := "to 2026-02-03 by the time zone +01:30."; !strings.Contains(text["README.txt"], want) {
		t.Errorf("README.txt does not say %q", want)
	}
	var b bytes.Buffer
	if err := ListCSV(&b, []words.Listed{{Known: evaluation.Known{Measured: at}}}, CSVOptions{}); err != nil ||
		!strings.Contains(b.String(), ",2026-02-03T05:35:06+01:30,") {
		t.Errorf("the list is %s (%v)", b.String(), err)
	}
}

// A row for each frequency, what is not known empty.
func TestBranchCSV(t *testing.T) {
	var b bytes.Buffer
	if err := BranchCSV(&b, inventedResult(), CSVOptions{DecimalComma: true}); err != nil {
		t.Fatal(err)
	}
	const want = "frequency_hz;inductance_h;inductance_U95_h;resistance_ohm;resistance_U95_ohm\n" +
		"1000;2,36;0,046256;8100;158,76\n8000;2,2;0,04312;;\n"
	if b.String() != want {
		t.Errorf("got\n%s\nwant\n%s", b.String(), want)
	}
}

// compiled is the schema of a format, read by a validator from outside.
func compiled(t *testing.T, f schema.Format) *jsonschema.Schema {
	t.Helper()
	var text bytes.Buffer
	if err := f.Write(&text); err != nil {
		t.Fatal(err)
	}
	document, err := jsonschema.UnmarshalJSON(&text)
	if err != nil {
		t.Fatal(err)
	}
	compiler := jsonschema.NewCompiler()
	if err := compiler.AddResource(f.Name, document); err != nil {
		t.Fatal(err)
	}
	s, err := compiler.Compile(f.Name)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// The schema is one by the rules of JSON Schema, draft 2020-12, takes what the
// program writes, and refuses what is wrong, all by a validator from outside.
func TestSchema(t *testing.T) {
	schema := compiled(t, Result())
	instance := func(r fit.Result) map[string]any {
		var b bytes.Buffer
		if err := r.Encode(&b); err != nil {
			t.Fatal(err)
		}
		v, err := jsonschema.UnmarshalJSON(&b)
		if err != nil {
			t.Fatal(err)
		}
		return v.(map[string]any)
	}
	little := inventedResult()
	little.Inductance, little.Covariance, little.Line, little.Eddy, little.Record = fit.Unknown("one take"), nil,
		nil, nil, nil
	cover := known(30e3)
	little.CoverCorner = &cover
	given := inventedResult()
	given.Inductance = fit.Unknown("one take")
	given.Inductance.Given = &fit.Given{If: "there is no metal in the coil", Quantity: known(2.2)}
	for _, r := range []fit.Result{inventedResult(), little, given} {
		if err := schema.Validate(instance(r)); err != nil {
			t.Errorf("what the program writes is refused: %v", err)
		}
	}
	for name, spoil := range map[string]func(map[string]any){
		"text for a number": func(m map[string]any) {
			m["inductance_h"] = map[string]any{"value": "2.4", "u": 0,
				"U95": 0}
		},
		"null without why": func(m map[string]any) { m["inductance_h"] = map[string]any{"value": nil} },
		"supposition without a number": func(m map[string]any) {
			m["inductance_h"] = map[string]any{"value": nil, "why": "one take",
				"given_form": map[string]any{"if": "there is no metal in the coil"}}
		},
		"missing key":  func(m map[string]any) { delete(m, "resistance_ohm") },
		"key too many": func(m map[string]any) { m["weight_kg"] = json.Number("1") },
		"no list":      func(m map[string]any) { m["takes"] = "none" },
	} {
		m := instance(inventedResult())
		spoil(m)
		if schema.Validate(m) == nil {
			t.Errorf("%s: taken as valid", name)
		}
	}
}

// The netlist in ngspice gives the response of the circuit that the result
// describes, by the closed form of package circuit.
func TestNetlist(t *testing.T) {
	r := inventedResult()
	netlist, err := Netlist(r)
	if err != nil {
		t.Fatal(err)
	}
	if first, _, _ := strings.Cut(netlist, "\n"); first != "* coil Invented coil, fitted circuit, EMF 1 V" {
		t.Errorf("title %q", first)
	}
	ngspice, err := exec.LookPath("ngspice")
	if err != nil {
		t.Skip("ngspice is not installed")
	}
	path := filepath.Join(t.TempDir(), "circuit.cir")
	if err := os.WriteFile(path, []byte(netlist), 0o666); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithTimeout(t.Context(), time.Minute)
	defer stop()
	out, err := exec.CommandContext(ctx, ngspice, "-b", path).Output()
	if err != nil {
		t.Fatal(err)
	}
	coil := circuit.Coil{InductanceH: 2.4, ResistanceOhm: 7850, CapacitanceF: 110e-12,
		Rings: []circuit.Ring{{Share: 0.09, TimeS: 1 / (2 * math.Pi * 6000)},
			{Share: 0.05, TimeS: 1 / (2 * math.Pi * 21000)}}}
	n := 0
	for _, m := range regexp.MustCompile(`(?m)^\d+\s+(\S+)\s+(\S+)\s+(\S+)\s*$`).FindAllStringSubmatch(string(out),
		-1) {
		hz, err1 := strconv.ParseFloat(m[1], 64)
		db, err2 := strconv.ParseFloat(m[2], 64)
		if err1 != nil || err2 != nil {
			t.Fatal(m)
		}
		h := coil.Transfer(complex(0, 2*math.Pi*hz), circuit.Load{ResistanceOhm: math.Inf(1)})
		if want := 20 * math.Log10(math.Hypot(real(h), imag(h))); math.Abs(db-want) > 1e-4 {
			t.Errorf("%g Hz: %g dB, want %g", hz, db, want)
		}
		n++
	}
	if n < 300 {
		t.Errorf("%d points from ngspice", n)
	}
}

func TestNetlistOfLittle(t *testing.T) {
	r := inventedResult()
	r.CapacitanceCoil = fit.Unknown("no fixture")
	if netlist, err := Netlist(r); err != nil || !strings.Contains(netlist, "C with the fixture's") ||
		!strings.Contains(netlist, "1.75e-10") {
		t.Errorf("without the coil's own C: %v\n%s", err, netlist)
	}
	r.Inductance = fit.Unknown("one take")
	c := contents(false)
	c.Result = r
	names, text := files(t, packed(t, c))
	if strings.Contains(strings.Join(names, " "), "circuit.cir") ||
		!strings.Contains(text["README.txt"], "There is no netlist: the inductance is not known: one take.") {
		t.Errorf("files %v\n%s", names, text["README.txt"])
	}
	for name, spoil := range map[string]func(*fit.Result){
		"eddy":  func(r *fit.Result) { r.Eddy[0].Corner = fit.Unknown("no") },
		"cover": func(r *fit.Result) { r.CoverCorner = new(fit.Unknown("no")) },
	} {
		r := inventedResult()
		spoil(&r)
		if _, err := Netlist(r); err == nil {
			t.Errorf("a netlist without %s", name)
		}
	}
}
