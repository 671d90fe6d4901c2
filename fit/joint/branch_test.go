package joint

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"coilsweep/capture"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
)

// branchTable turns ngspice's output for branch.cir or impedance.cir into the table that
// is kept.
func branchTable(printed []byte) string {
	var out strings.Builder
	out.WriteString("# what ngspice prints of the netlist: series resistance and reactance of a winding, in ohm\n" +
		"coil,hz,r,x\n")
	lines := bufio.NewScanner(bytes.NewReader(printed))
	for lines.Scan() {
		field := strings.Fields(lines.Text())
		switch {
		case len(field) == 3 && field[0] == "coil":
			out.WriteString(field[1] + "," + field[2])
		case len(field) == 3 && strings.HasPrefix(field[0], "vr("):
			out.WriteString("," + field[2])
		case len(field) == 3 && strings.HasPrefix(field[0], "vi("):
			out.WriteString("," + field[2] + "\n")
		}
	}
	return out.String()
}

// spiceBranch is the winding branch of a coil, or its impedance, by ngspice.
type spiceBranch struct{ hz, ohm, henry float64 }

// readBranches reads branch.csv or impedance.csv, by coil.
func readBranches(t *testing.T, data []byte) map[string][]spiceBranch {
	t.Helper()
	r := csv.NewReader(bytes.NewReader(data))
	r.Comment = '#'
	branches := map[string][]spiceBranch{}
	for _, row := range must(r.ReadAll())[1:] {
		number := func(i int) float64 { return must(strconv.ParseFloat(row[i], 64)) }
		branches[row[0]] = append(branches[row[0]], spiceBranch{number(1), number(2),
			number(3) / (2 * math.Pi * number(1))})
	}
	return branches
}

// The tables are ngspice's output for the netlists beside them.
func TestTableOfBranches(t *testing.T) {
	program, err := exec.LookPath("ngspice")
	if err != nil {
		if testing.Short() {
			t.Skip("ngspice is not installed")
		}
		t.Fatal("ngspice is not installed: run 'make deps', or the tests with -short")
	}
	for what, points := range map[string]int{"branch": len(fit.BranchHz()) + 1, "impedance": 10} {
		printed, err := exec.CommandContext(t.Context(), program, "-b", filepath.Join(spiceDir, what+".cir")).Output()
		if err != nil {
			t.Fatalf("ngspice: %v", err)
		}
		file := filepath.Join(spiceDir, what+".csv")
		table := branchTable(printed)
		if *updateReferences {
			if err := os.WriteFile(file, []byte(table), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		fresh, kept := readBranches(t, []byte(table)), readBranches(t, must(os.ReadFile(file)))
		if len(kept) != len(spiceCoils) {
			t.Errorf("%s of %d coils, want %d", what, len(kept), len(spiceCoils))
		}
		for name, list := range kept {
			if len(list) != points || len(fresh[name]) != len(list) {
				t.Fatalf("%s: ngspice prints %d points, kept are %d", name, len(fresh[name]), len(list))
			}
			for i, p := range list {
				q := fresh[name][i]
				if p.hz != q.hz || math.Abs(q.ohm/p.ohm-1) > 1e-9 || math.Abs(q.henry/p.henry-1) > 1e-9 {
					t.Errorf("%s: ngspice prints %v, kept is %v", name, q, p)
				}
			}
		}
	}
}

// Series inductance and AC resistance of the windings of ngspice, from takes of the
// coils with their loads: U95 covers what ngspice has for the winding alone, and
// is small enough to be of use.
func TestBranchOfNgspice(t *testing.T) {
	branches := readBranches(t, must(os.ReadFile(filepath.Join(spiceDir, "branch.csv"))))
	seeds := uint64(3)
	if testing.Short() {
		seeds = 1
	}
	for _, c := range spiceCoils {
		loads := readSpice(t, must(os.ReadFile(filepath.Join(spiceDir, "fit_"+c.name+".csv"))))
		for seed := range seeds {
			r, err := Analyse(t.Context(), capture.Coil{Name: c.name}, c.takes(loads, seed), fit.Options{})
			if err != nil {
				t.Fatal(err)
			}
			truth := branches[c.name]
			if len(r.Branch) != len(truth) {
				t.Fatalf("%s: %d points, want %d", c.name, len(r.Branch), len(truth))
			}
			for i, p := range r.Branch {
				if math.Abs(p.Hz/truth[i].hz-1) > 1e-4 || p.AtResonance() != (i == len(truth)-1) {
					t.Errorf("%s: point %d is at %g Hz, want %g", c.name, i, p.Hz, truth[i].hz)
				}
				covers := func(what string, q fit.Quantity, want, limit float64) {
					t.Helper()
					if !q.Known() || math.Abs(q.Value-want) > q.U95 || q.U95 > limit*want {
						t.Errorf("%s, seed %d, %g Hz: %s is %.6g ± %.2g (%s), ngspice has %.6g", c.name, seed,
							p.Hz, what, q.Value, q.U95, q.Why, want)
					}
					t.Logf("%s, %g Hz: %s %.6g ± %.2g, ngspice %.6g", c.name, p.Hz, what, q.Value, q.U95, want)
				}
				covers("inductance", p.Inductance, truth[i].henry, 0.02)
				covers("resistance", p.Resistance, truth[i].ohm, 0.03)
			}
		}
	}
}

// Where L is not determined, or the sweep does not reach, the branch is not known
// either, with the reason.
func TestBranchNotKnown(t *testing.T) {
	c := spiceCoils[1]
	loads := readSpice(t, must(os.ReadFile(filepath.Join(spiceDir, "fit_"+c.name+".csv"))))
	r := must(Analyse(t.Context(), capture.Coil{Name: c.name}, c.takes(loads, 0)[:1], fit.Options{}))
	if len(r.Branch) != 5 || r.Inductance.Known() {
		t.Fatalf("one take: L %v, %d points", r.Inductance, len(r.Branch))
	}
	for _, p := range r.Branch {
		if p.Inductance.Known() || p.Resistance.Known() || p.Inductance.Why != r.Inductance.Why ||
			p.Resistance.Why != r.Inductance.Why {
			t.Errorf("one take, %g Hz: %+v", p.Hz, p)
		}
	}
	takes := c.takes(loads, 0)
	for i := range takes {
		takes[i].Response = takes[i].Response.Select(func(hz float64) bool { return hz < 9000 })
	}
	added := must(quantity.ParseCapacitance("10p 1%"))
	takes[0].Load.AddedC = &added // so that no take has nothing added
	r = must(Analyse(t.Context(), capture.Coil{Name: c.name}, takes, fit.Options{}))
	if len(r.Branch) != 4 {
		t.Fatalf("no take with nothing added: %d points", len(r.Branch))
	}
	for i, p := range r.Branch {
		if known := i < 3; p.Inductance.Known() != known || p.Resistance.Known() != known ||
			!known && !strings.Contains(p.Resistance.Why, "the sweep ends at 8.79 kHz") {
			t.Errorf("%g Hz, sweep to 9 kHz: %+v", p.Hz, p)
		}
	}
}

// TestBranchCoverage counts how often U95 covers the winding of coils whose parts
// and clock are drawn, by elimination of the loops' meshes. In a study of 500 seeds
// every cell must lie within 92 and 98 %; with fewer, the chance of a fair count is
// allowed for.
func TestBranchCoverage(t *testing.T) {
	n := seeds(t, 60)
	ring := trueCoil{henry: 4.4, ohm: 8200, farad: 100e-12}
	ring.ring(0.2, 3000)
	bare := trueCoil{henry: 2.2, ohm: 6000, farad: 120e-12}
	for world, coil := range []trueCoil{bare, ring, demoCoil(), bare} {
		name := fmt.Sprintf("%d loops", len(coil.rings))
		hardly := world == 3
		if hardly {
			name = "a loop hardly there"
		}
		covered, known := map[string]int{}, map[string]int{}
		var lock sync.Mutex
		parallel(n, func(i int) {
			coil := coil
			if hardly { // at the noise, to well above it
				random := rand.New(rand.NewPCG(seed(i), 78))
				coil.ring(1e-5*math.Pow(1000, random.Float64()), 1000*math.Pow(15, random.Float64()))
			}
			r, _ := drawnBench(coil, 70, false, seed(770000+10000*world+i))
			lock.Lock()
			defer lock.Unlock()
			for _, p := range r.Branch {
				henry, ohm := coil.branch(p.Hz)
				place := fmt.Sprintf("%g Hz", p.Hz)
				if p.AtResonance() {
					place = "resonance"
				}
				count := func(what string, q fit.Quantity, truth float64) {
					k, c := covers(q, truth)
					if k {
						known[what+place]++
					}
					if c {
						covered[what+place]++
					}
				}
				count("L at ", p.Inductance, henry)
				count("R at ", p.Resistance, ohm)
			}
		})
		if len(known) != 2*(len(fit.BranchHz())+1) {
			t.Fatalf("%s: known are %v", name, known)
		}
		line := ""
		for _, what := range slices.Sorted(maps.Keys(known)) {
			share := float64(covered[what]) / float64(known[what])
			line += fmt.Sprintf("  %s %.3f", what, share)
			if limit := margin(0.03, 4, float64(n)); known[what] < n*9/10 || share < 0.95-limit || share > 0.95+limit {
				t.Errorf("%s: U95 of %s covers %d of %d, known %d of %d", name, what, covered[what], known[what],
					known[what], n)
			}
		}
		t.Logf("%s:%s", name, line)
	}
}
