package data

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilsweep/fit"
	"coilsweep/report/internal/golden"
	"coilsweep/report/internal/invented"
)

// What response.csv holds is what the curves hold, read back by the standard
// library's CSV reader.
func TestCSV(t *testing.T) {
	r := invented.Result(invented.ThreeLoads, 25)
	r.Takes[1].Name = `quote " comma , semicolon ; line` + "\nbreak"
	r.Takes = append(r.Takes, fit.TakeResult{Name: "no curve"})
	for _, o := range []CSVOptions{{}, {DecimalComma: true}} {
		var b bytes.Buffer
		if err := ResultCSV(&b, r, o); err != nil {
			t.Fatal(err)
		}
		in := csv.NewReader(&b)
		decimal := func(s string) string { return s }
		if o.DecimalComma {
			in.Comma = ';'
			decimal = func(s string) string {
				if strings.Contains(s, ".") {
					t.Fatalf("decimal point in %q", s)
				}
				return strings.Replace(s, ",", ".", 1)
			}
		}
		rows, err := in.ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		if len(rows) != 1+3*25 {
			t.Fatalf("%d rows, want one header and 75", len(rows))
		}
		column := map[string]int{}
		for i, name := range rows[0] {
			column[name] = i
		}
		for n, row := range rows[1:] {
			take, i := r.Takes[n/25], n%25
			c := take.Curve
			if row[column["take"]] != take.Name {
				t.Errorf("row %d: take %q, want %q", n, row[column["take"]], take.Name)
			}
			for name, want := range map[string]float64{
				"frequency_hz": c.FrequencyHz[i], "magnitude_db": c.MagnitudeDB[i], "phase_deg": c.PhaseDeg[i],
				"magnitude_U95_db": c.MagnitudeU95DB[i], "noise_floor_db": c.NoiseFloorDB[i],
				"fit_magnitude_db": c.FitMagnitudeDB[i],
				"fit_phase_deg":    c.FitPhaseDeg[i], "residual_re_u": real(c.Residual[i]),
				"residual_im_u":      imag(c.Residual[i]),
				"harmonic2_noise_db": c.Harmonic2FloorDB[i],
				"harmonic2_db":       c.Harmonic2DB[i], "added_c_f": take.AddedC,
			} {
				text := row[column[name]]
				if math.IsNaN(want) {
					if text != "" {
						t.Errorf("row %d: %s is %q, want nothing", n, name, text)
					}
					continue
				}
				got, err := strconv.ParseFloat(decimal(text), 64)
				if err != nil || math.Abs(got-want) > 1e-8*math.Abs(want)+6e-5 {
					t.Errorf("row %d: %s is %q, want %g", n, name, text, want)
				}
			}
			if row[column["added_r_ohm"]] != "" {
				t.Errorf("row %d: an added resistance of %q", n, row[column["added_r_ohm"]])
			}
		}
	}
}

func TestCSVGolden(t *testing.T) {
	var b bytes.Buffer
	if err := ResultCSV(&b, invented.Result(invented.EightLoads[3:5], 4), CSVOptions{DecimalComma: true}); err != nil {
		t.Fatal(err)
	}
	golden.Same(t, "response-comma.csv", b.Bytes())
}

func TestJSON(t *testing.T) {
	r := invented.Result(invented.EightLoads, 4)
	r.Coil = `<b>"quoted"</b> & שלום`
	var b bytes.Buffer
	if err := r.Encode(&b); err != nil {
		t.Fatal(err)
	}
	if !bytes.HasSuffix(b.Bytes(), []byte("}\n")) || !bytes.Contains(b.Bytes(), []byte(`<b>\"quoted\"</b> & שלום`)) {
		t.Errorf("not ended by a line feed, or the name is mangled:\n%.300s", b.String())
	}
	var back fit.Result
	if err := json.Unmarshal(b.Bytes(), &back); err != nil {
		t.Fatal(err)
	}
	for i := range r.Takes {
		r.Takes[i].Curve = nil // not part of the file
		r.Takes[i].Flags = orEmpty(r.Takes[i].Flags)
	}
	// Why without a value reads back as NaN, which equals nothing.
	if diff := cmp.Diff(r, back, cmp.Comparer(func(a, b float64) bool {
		return a == b || math.IsNaN(a) &&
			math.IsNaN(b)
	})); diff != "" {
		t.Errorf("read back (-want +got):\n%s", diff)
	}
	var again bytes.Buffer
	if err := back.Encode(&again); err != nil || !bytes.Equal(b.Bytes(), again.Bytes()) {
		t.Errorf("written again it differs (error %v)", err)
	}
}

// Lists without entries are lists, and an unknown is null with its reason.
func TestJSONOfLittle(t *testing.T) {
	var b bytes.Buffer
	unknown := fit.Unknown("nothing was measured")
	err := fit.Result{Coil: "invented", Inductance: unknown,
		Takes: []fit.TakeResult{{Name: "bare", Resonance: unknown}}}.Encode(&b)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`"schema": "coilsweep.result/1"`, `"basis": []`, `"meter": []`, `"warnings": []`,
		`"eddy": []`, `"tried": []`, `"flags": []`,
		`"added_r_ohm": null`, `"value": null`, `"why": "nothing was measured"`} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %s in\n%s", want, b.String())
		}
	}
	err = fit.Result{Coil: "invented", Takes: []fit.TakeResult{{SNRdB: math.Inf(1)}}}.Encode(&b)
	if err == nil || !strings.Contains(err.Error(), "invented") {
		t.Errorf("a number that JSON cannot hold gave error %v, want one that names the coil", err)
	}
}
