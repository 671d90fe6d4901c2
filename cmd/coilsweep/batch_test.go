package main

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"coilsweep/cmd/coilsweep/internal/cli"
)

// benchOf is a simulated bench with an invented coil. A ring stands for so
// many shorted turns of 8000: n of N turns that are closed on themselves have
// L (n/N)² and R n/N, and are coupled to the rest as the turns of one winding
// are.
func benchOf(l, r float64, shorted int) string {
	rings := "[[coil.ring]]\nname = \"poles\"\ninductance = \"1uH\"\nresistance = \"37.7m\"\ncoupling = 0.3\n"
	if part := float64(shorted) / 8000; shorted > 0 {
		rings += fmt.Sprintf("[[coil.ring]]\nname = \"shorted turns\"\ninductance = \"%.6gH\"\nresistance = "+
			"\"%.6gohm\"\ncoupling = 0.85\n", l*part*part, r*part)
	}
	return fmt.Sprintf(`schema = "coilsweep.virtual-bench/1"
name = "invented bench"
[coil]
name = "invented coil"
inductance = "%.6gH"
resistance = "%.6gohm@20C"
winding_c = "110p"
%s[fixture]
capacitance = "65p"
resistance = "1M"
[exciter]
drive = "voltage"
series_r = "220"
resistance = "3.9"
inductance = "68uH"
mutual = "250uH"
[output]
full_scale_v = 1.5
[input]
full_scale_v = 0.15
bits = 24
[noise]
thermal = true
celsius = 20
input_v_per_rthz = 40e-9
`, l, r, rings)
}

// A run of twelve simulated coils, alike within 1.5 %, one of them with 120 of its 8000
// turns shorted: the batch names that one and no other, and that coil alone
// fails the limit of Q.
func TestBatchFindsShortedTurns(t *testing.T) {
	t.Parallel()
	root := t.TempDir()
	path := func(parts ...string) string { return filepath.Join(append([]string{root}, parts...)...) }
	do := func(want int, args ...string) string {
		t.Helper()
		var out, err strings.Builder
		if status := cli.Run(t.Context(), args, nil, &out, &err); status != want {
			t.Fatalf("%q: status %d, want %d\n%s", args, status, want, err.String())
		}
		return out.String()
	}
	write := func(name, text string) string {
		if err := os.WriteFile(path(name), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
		return path(name)
	}
	do(0, "stimulus", path("sweep.wav"), "--duration", "0.35s", "--repeats", "2")
	// Evenly spread, so that none stands out by chance.
	random := rand.New(rand.NewPCG(8, 9))
	byL, byR := random.Perm(12), random.Perm(12)
	spread := func(place int) float64 { return float64(place)/5.5 - 1 }
	const bad = "coil-07"
	for i := range 12 {
		name := fmt.Sprintf("coil-%02d", i+1)
		l, r := 2.4*(1+0.015*spread(byL[i])), 7850*(1+0.01*spread(byR[i]))
		shorted := 0
		if name == bad {
			shorted = 120
		}
		bench := write("virtual.toml", benchOf(l, r, shorted))
		do(0, "new", path("run", name), "--dcr", fmt.Sprintf("%.5gohm@20C 0.5%%", r))
		for _, load := range [][]string{{"bare"}, {"C470", "--added-c", "470p 1%"}} {
			do(0, append([]string{"measure", path("run", name), "--bench", "virtual", "--virtual-file", bench,
				"--stimulus", path("sweep.toml"),
				"--seed", fmt.Sprint(i), "--drive", "voltage", "--exciter-r", "223.9", "--exciter-l", "68u",
				"--fixture-c", "65p 1p", "--fixture-r", "1M 1%", "--take"}, load...)...)
		}
	}
	do(0, "fit", "--all", path("run"), "--model", "one ring", "--model", "two rings")
	limits := write("limits.toml", "schema = \"coilsweep.limits/1\"\n[q]\nmin = \"3\"\n")
	var found struct {
		Coils []struct {
			Coil, Verdict, Suspected string
			Findings                 []string
		}
	}
	if err := json.Unmarshal([]byte(do(3, "batch", path("run"), "--limits", limits, "--json")), &found); err != nil {
		t.Fatal(err)
	}
	if len(found.Coils) != 12 {
		t.Fatalf("%d coils", len(found.Coils))
	}
	for _, c := range found.Coils {
		isBad := c.Coil == bad
		if isBad != strings.Contains(c.Suspected, "shorted turns") || isBad != (c.Verdict == "fail") ||
			isBad != (len(c.Findings) > 0) {
			t.Errorf("%s: %s, findings %q, suspected %q", c.Coil, c.Verdict, c.Findings, c.Suspected)
		}
	}
	text := do(3, "batch", path("run"), "--limits", limits, "--chart", "inductance_h", "--out", path("batch.html"))
	for _, want := range []string{"12 coils.", "11 pass, 1 fails.", bad + " stands out: ", "L over time"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	// About a reference coil.
	text = do(3, "batch", path("run"), "--reference", path("run", "coil-01"), "--tolerance", "20%", "--tolerance",
		"q=15%")
	if !strings.Contains(text, "11 pass, 1 fails.") {
		t.Errorf("about a reference coil:\n%s", text)
	}
	// However narrow the limits around it are, the reference passes itself. The others are
	// known better against it where the parts were the same.
	narrow := []string{"batch", path("run"), "--reference", path("run", "coil-01"), "--tolerance", "inductance_h=0.01%",
		"--lines"}
	open := map[bool]int{}
	for _, same := range []bool{false, true} {
		args := narrow
		if same {
			args = append(args, "--same-bench")
		}
		text = do(3, args...)
		lines := strings.Split(strings.TrimSpace(text), "\n")
		if len(lines) != 12 || lines[0] != "coil-01  pass" {
			t.Errorf("%q:\n%s", args, text)
		}
		open[same] = strings.Count(text, "  undecided: L is only ")
	}
	if open[true] >= open[false] {
		t.Errorf("%d undecided on the same bench, %d otherwise", open[true], open[false])
	}
	if text = do(3, "batch", path("run"), "--limits", limits, "--lines"); !regexp.MustCompile(
		`(?m)^coil-07  fail: Q, nothing added is [0-9.]+ ± [0-9.]+ below the limit of 3\.000$`).MatchString(text) {
		t.Errorf("a line a coil:\n%s", text)
	}
	if page, err := os.ReadFile(path("batch.html")); err != nil ||
		!strings.Contains(string(page), "Batch of 12 coils") {
		t.Errorf("the page: %v", err)
	}

	// A coil without takes is left out, and the status says that the data are
	// not whole.
	do(0, "new", path("run", "late"))
	if text = do(3, "batch", path("run"), "--csv", "--decimal",
		"comma"); !regexp.MustCompile(`;\d+,\d+;`).MatchString(text) {
		t.Errorf("CSV with a decimal comma:\n%s", text)
	}

	// Wrong use.
	for _, wrong := range [][]string{
		{"batch"},
		{"batch", path("run"), "--csv", "--json"},
		{"batch", path("run"), "--decimal", "comma"},
		{"batch", path("run"), "--tolerance", "5%"},
		{"batch", path("run"), "--reference", path("run", "coil-01")},
		{"batch", path("run"), "--reference", path("run", "coil-01"), "--tolerance", "5"},
		{"batch", path("run"), "--reference", path("run", "coil-01"), "--tolerance", "weight=5%"},
		{"batch", path("run"), "--reference", path("run", "coil-01"), "--limits", limits, "--tolerance", "5%"},
		{"batch", path("run"), "--guard", "-1"},
		{"batch", path("run"), "--chart", "weight"},
		{"batch", path("run"), "--lines"},
		{"batch", path("run"), "--limits", limits, "--lines", "--csv"},
	} {
		do(2, wrong...)
	}
	do(1, "batch", path("nowhere"))
	do(1, "batch", path("run", bad))
	do(1, "batch", path("run"), "--limits", path("sweep.toml"))
}
