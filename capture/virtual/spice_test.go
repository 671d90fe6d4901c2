package virtual

import (
	"encoding/csv"
	"flag"
	"fmt"
	"math"
	"math/cmplx"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"coilsweep/capture"
)

var update = flag.Bool("update", false, "write the golden files and the tables of ngspice anew")

const spiceDir = "../../testdata/spice"

// spiceCases are benches of which there is a netlist testdata/spice/NAME.cir
// and a description testdata/NAME.toml, written apart from each other.
var spiceCases = []string{"bench_voltage", "bench_current", "bench_loopback", "bench_loss",
	"bench_pair", "bench_pairopen"}

// table reads a CSV file; lines that begin with # and the head are left out.
func table(t *testing.T, name string) [][]string {
	t.Helper()
	f, err := os.Open(filepath.Join(spiceDir, name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// runNgspice is what ngspice prints of a netlist. Without ngspice the test that
// asks is skipped: the tables it printed are compared anyway.
func runNgspice(t *testing.T, netlist string) string {
	t.Helper()
	program, err := exec.LookPath("ngspice")
	if err != nil {
		t.Skip("ngspice is not installed")
	}
	out, err := exec.CommandContext(t.Context(), program, "-b", filepath.Join(spiceDir, netlist)).Output()
	if err != nil {
		t.Fatalf("ngspice: %v", err)
	}
	return string(out)
}

// compareOrWrite compares a table made anew with the one that is kept.
func compareOrWrite(t *testing.T, name, head string, fresh [][]string) {
	t.Helper()
	if *update {
		var text strings.Builder
		text.WriteString(head)
		for _, row := range fresh {
			text.WriteString(strings.Join(row, ",") + "\n")
		}
		if err := os.WriteFile(filepath.Join(spiceDir, name), []byte(text.String()), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	kept := table(t, name)
	if len(kept) != len(fresh) {
		t.Fatalf("%s has %d rows, ngspice gives %d", name, len(kept), len(fresh))
	}
	for i := range kept {
		for j := range kept[i] {
			a, errA := strconv.ParseFloat(kept[i][j], 64)
			b, errB := strconv.ParseFloat(fresh[i][j], 64)
			same := kept[i][j] == fresh[i][j]
			if errA == nil && errB == nil {
				same = math.Abs(a-b) <= 2e-6*math.Max(1, math.Abs(a)) || math.Abs(a-b) < 1e-6*math.Abs(a)
			}
			if !same {
				t.Errorf("%s row %d: kept %v, ngspice gives %v", name, i+1, kept[i], fresh[i])
			}
		}
	}
}

func TestNgspiceResponsesAreAsKept(t *testing.T) {
	var rows [][]string
	for _, name := range spiceCases {
		row := []string{name}
		for line := range strings.SplitSeq(runNgspice(t, name+".cir"), "\n") {
			key, value, found := strings.Cut(line, " = ")
			if !found {
				continue
			}
			value, _, _ = strings.Cut(value, ",")
			switch key {
			case "frequency":
				row = append(row, fmt.Sprint(number(t, value)))
			case "vdb(coil)", "vp(coil)", "vdb(ref)", "vp(ref)":
				row = append(row, fmt.Sprintf("%.6f", number(t, value)))
			}
			if len(row) == 6 {
				rows = append(rows, row)
				row = []string{name}
			}
		}
	}
	compareOrWrite(t, "bench_response.csv",
		"# ngspice-39 .ac of the netlists beside this file: recorded over played, full scale, latency apart\n"+
			"case,freq_hz,coil_db,coil_deg,ref_db,ref_deg\n", rows)
}

func TestNgspiceNoiseIsAsKept(t *testing.T) {
	var rows [][]string
	for line := range strings.SplitSeq(runNgspice(t, "bench_noise.cir"), "\n") {
		fields := strings.Fields(line)
		if len(fields) == 3 {
			if _, err := strconv.Atoi(fields[0]); err == nil {
				rows = append(rows, []string{fmt.Sprint(number(t, fields[1])),
					fmt.Sprintf("%.6e", number(t, fields[2]))})
			}
		}
	}
	compareOrWrite(t, "bench_noise.csv", "# ngspice-39 .noise of bench_noise.cir: density at the coil's terminals\n"+
		"freq_hz,v_per_rthz\n", rows)
}

// TestTakeMeetsNgspice compares recorded samples with ngspice: a circuit of
// inductors with K couplings, another program's equations.
func TestTakeMeetsNgspice(t *testing.T) {
	want := map[string][2]complex128{}
	for _, row := range table(t, "bench_response.csv") {
		point := func(db, deg string) complex128 {
			return cmplx.Rect(math.Pow(10, number(t, db)/20), number(t, deg)*math.Pi/180)
		}
		want[row[0]+fmt.Sprint(number(t, row[1]))] = [2]complex128{point(row[2], row[3]), point(row[4], row[5])}
	}
	if len(want) != len(spiceCases)*len(tones) {
		t.Fatalf("the table of ngspice has %d points, wanted %d", len(want), len(spiceCases)*len(tones))
	}
	for _, name := range spiceCases {
		b, err := Load(filepath.Join("testdata", name+".toml"))
		if err != nil {
			t.Fatal(err)
		}
		compareTake(t, b, 48000, func(channel int, hz float64) complex128 {
			return want[name+fmt.Sprint(hz)][channel]
		}, name)
	}
}

// plainCoil is a coil on an ideal current source with nothing between, so that
// the recording is j w M i times the transfer from EMF to terminals.
func plainCoil(l, r, coilC, loadC, loadR float64) Bench {
	return Bench{
		Coil:    Coil{Inductance: henry(l), Resistance: ohm(r), WindingC: faradOf(coilC)},
		Fixture: Fixture{Capacitance: faradOf(loadC), Resistance: ohm(loadR)},
		Exciter: Exciter{Drive: "current", Mutual: henry(1e-4), FullScaleA: 1e-3},
		Output:  Output{FullScaleV: 1},
		Input:   Input{FullScaleV: 1},
	}
}

// TestTakeMeetsCoilTables compares recorded samples with testdata/spice/
// response.csv: ngspice's voltage over EMF of three coils with two loads each
// and of one with an eddy branch.
func TestTakeMeetsCoilTables(t *testing.T) {
	benches := map[string]Bench{
		"a1": plainCoil(2.2, 6000, 120e-12, 350e-12, 1e6),
		"a2": plainCoil(2.2, 6000, 120e-12, 350e-12, 250e3),
		"b1": plainCoil(4.4, 8200, 100e-12, 600e-12, 1e6),
		"b2": plainCoil(4.4, 8200, 100e-12, 600e-12, 250e3),
		"c1": plainCoil(8, 15000, 180e-12, 470e-12, 1e6),
		"c2": plainCoil(8, 15000, 180e-12, 470e-12, 250e3),
		"d1": plainCoil(4.4, 8200, 100e-12, 600e-12, 1e6),
	}
	// The branch 3.52 H + 0.88 H || R with its corner at 3 kHz is a ring that
	// is coupled by sqrt(0.2) and has R/L = 2 pi 3 kHz.
	d1 := benches["d1"]
	d1.Coil.Rings = []Ring{{Inductance: henry(1e-6), Resistance: ohm(2 * math.Pi * 3000 * 1e-6),
		Coupling: math.Sqrt(0.2)}}
	benches["d1"] = d1

	rows := map[string][][]string{}
	for _, row := range table(t, "response.csv") {
		if hz := number(t, row[1]); hz >= 30 && hz <= 20000 {
			rows[row[0]] = append(rows[row[0]], row)
		}
	}
	for name, b := range benches {
		if len(rows[name]) < 10 {
			t.Fatalf("%s: only %d rows in response.csv", name, len(rows[name]))
		}
		var hz []float64
		for _, row := range rows[name] {
			hz = append(hz, number(t, row[1]))
		}
		const rate = 48000
		play := multitone(hz, rate, 3, 0.05)
		out := recorded(t, b, capture.Load{}, rate, 1, play, 2*rate)[0][rate:]
		for i, row := range rows[name] {
			emf := complex(0, 2*math.Pi*hz[i]*1e-4*1e-3) * amplitude(play[:rate], rate, hz[i])
			got := amplitude(out, rate, hz[i]) / emf
			db := 20*math.Log10(cmplx.Abs(got)) - number(t, row[2])
			deg := math.Remainder(cmplx.Phase(got)*180/math.Pi-number(t, row[3]), 360)
			if !(math.Abs(db) <= limitDB && math.Abs(deg) <= limitDeg) {
				t.Errorf("%s at %v Hz is off by %+.5f dB, %+.5f degree", name, hz[i], db, deg)
			}
		}
	}
}
