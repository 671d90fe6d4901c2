package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"coilsweep/cmd/coilsweep/internal/cli"
	"coilsweep/report/browserrig"
)

// TestListPage looks at the list of coils in a browser: what tells them from each other, and
// what can be had of the list.
func TestListPage(t *testing.T) {
	t.Parallel()
	browser := browserrig.Start(t, browserLife)
	t.Run("serials and CSV", func(t *testing.T) { testListed(t, browser) })
	t.Run("pair", func(t *testing.T) { testPair(t, browser) })
	t.Run("certificate", func(t *testing.T) { testCertificate(t, browser) })
}

// printed is what a command prints.
func printed(t *testing.T, args ...string) string {
	t.Helper()
	out := &heard{}
	if status := cli.Run(t.Context(), args, nil, out, io.Discard); status != 0 {
		t.Fatalf("coilsweep %q: status %d", args, status)
	}
	return out.String()
}

// timeless is a page without the time at which it was made.
func timeless(text string) string {
	return regexp.MustCompile(`\d{4}-\d\d-\d\d[ T]\d\d:\d\d(:\d\d)?`).ReplaceAllString(text, "TIME")
}

// testListed: serial numbers and lots stand in the list where a coil has one, the filter
// looks at them, and the list is downloaded as the command writes it.
func testListed(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	workshopOf(t, root, 12)
	s := startServe(t, root, "--bench", "virtual", "--virtual-file", fast(t, t.TempDir()))
	p := s.open(browser, browserrig.View{Width: 1440, Height: 900})
	p.step("compare")
	heads := func() string {
		return browserrig.JS[string](p.Tab, `[...document.querySelectorAll("#many-coils thead th")].map(h => h.textContent).join(" ")`)
	}
	p.await("the list", `document.querySelectorAll("#many-coils tbody tr").length === 12`)
	if got := heads(); got != "coil takes result resonance Q L C R" {
		t.Errorf("without serial numbers the list has %s", got)
	}
	setText := func(coil, key, value string) {
		t.Helper()
		path := filepath.Join(root, coil, "coil.toml")
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		stated := strings.Replace(string(text), "# "+key+" = ", fmt.Sprintf("%s = %q # ", key, value), 1)
		if err := os.WriteFile(path, []byte(stated), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	for coil, serial := range map[string]string{"c003": "2026-9", "c004": "2026-10", "c005": "2026-008"} {
		setText(coil, "serial", serial)
	}
	setText("c004", "lot", "Spring")
	setText("c007", "lot", "Spring")
	p.await("serial numbers", `[...document.querySelectorAll("#many-coils tbody td")].some(d => d.textContent === "2026-10")`)
	p.await("lots", `[...document.querySelectorAll("#many-coils tbody td")].filter(d => d.textContent === "Spring").length === 2`)
	if got := heads(); got != "coil serial lot takes result resonance Q L C R" {
		t.Errorf("with serial numbers the list has %s", got)
	}
	p.click("#many-coils thead th:nth-child(2) button")
	order := browserrig.JS[[]string](p.Tab, `[...document.querySelectorAll("#many-coils tbody td:nth-child(2)")].map(d => d.textContent)`)
	if want := []string{"2026-008", "2026-9", "2026-10", ""}; !slices.Equal(order[:4], want) {
		t.Errorf("by serial number: %q", order)
	}

	same := func(link string, args ...string) {
		t.Helper()
		want := printed(t, append([]string{"list", root, "--csv"}, args...)...)
		want = strings.ReplaceAll(want, filepath.ToSlash(root)+"/", "")
		if got := p.fetched(link); got != want || !strings.Contains(got, "inductance_U95_h") {
			t.Errorf("the list with %q is\n%s\nand the command's\n%s", args, got, want)
		}
	}
	p.says("#many-csv", "The list, as CSV")
	same("#many-csv")
	p.write("#many-find", "SPRING")
	p.await("two of them", `[...document.querySelectorAll("#many-coils tbody tr")].filter(r => !r.hidden).length === 2`)
	p.says("#many-csv", "The coils shown, as CSV")
	same("#many-csv", "--match", "SPRING")
	if got := strings.Count(p.fetched("#many-csv"), "\n"); got != 3 {
		t.Errorf("of two coils the list has %d lines", got)
	}
	p.shoot("list")
	p.Accessible("", 15)
	p.onPhone("list", "the list")
	p.Accessible(`runOnly: ["color-contrast"], `, 1)
	p.quiet(s)
}

// testCertificate: the page makes the certificate that the command makes, with what is stated
// of the coil now, and lists it among the files.
func testCertificate(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	fittedCoil(t, root, "a", twoTakes)
	s := startServe(t, root, "--bench", "virtual", "--virtual-file", fast(t, t.TempDir()))
	p := s.open(browser, browserrig.View{Width: 1440, Height: 900})
	p.step("coil")
	p.write("#c-serial", "2026-014")
	p.click(`#coil-form button[type="submit"]`)
	p.await("a result that knows it", `import("/state.js").then(m => m.state.coil?.values.serial === "2026-014" && m.state.result?.state === "fresh")`)
	p.step("report")
	p.says("#certificate", "what they are traced by")
	p.click("#certificate-write")
	p.await("a link", `document.querySelector("#certificate-link a")`)
	p.says("#files", "to print and sign")
	p.await("the command line", `document.getElementById("certificate-line").textContent === "coilsweep report a --certificate"`)
	p.shoot("certificate-made")
	p.Accessible("", 15)

	certificate := browserrig.Open(t, browser,
		browserrig.JS[string](p.Tab, `document.querySelector("#certificate-link a").href`), browserrig.View{})
	shown := browserrig.JS[string](certificate, `document.body.innerText`)
	for _, want := range []string{"measurement certificate", "2026-014", "Signature", "not stated"} {
		if !strings.Contains(strings.ToLower(shown), strings.ToLower(want)) {
			t.Errorf("the certificate lacks %q: %s", want, shown)
		}
	}
	path := filepath.Join(root, "a", "certificate.html")
	certified := func() string {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		return timeless(string(text))
	}
	byPage := certified()
	mustRun(t, "report", filepath.Join(root, "a"), "--certificate")
	if certified() != byPage {
		t.Errorf("the page's certificate is not the command's")
	}
	p.onPhone("certificate-made", "the report step")
	p.Accessible(`runOnly: ["color-contrast"], `, 1)
	p.quiet(s)
}

// testPair: the list says which coils are of a pair, and the page works the pair out as the
// command does: page, CSV and numbers are the same.
func testPair(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	bridge := filepath.Join(root, "bridge")
	mustRun(t, "pair", bridge, "--new", "--name", "Invented pair", "--first", "screws", "--second", "slugs",
		"--first-dcr", "4.05k@20C 0.5%", "--second-dcr", "4.16k@20C 0.5%")
	for _, take := range [][]string{
		{"first", "bare"}, {"first", "c470", "--added-c", "470p 1%"}, {"second", "bare"},
		{"second", "c470", "--added-c", "470p 1%"}, {"both", "series"}, {"both", "parallel"},
	} {
		connected := take[0]
		if connected == "both" {
			connected = take[1]
		}
		mustRun(t, append([]string{"measure", filepath.Join(bridge, take[0]), "--take", take[1], "--bench", "virtual",
			"--virtual-connected", connected, "--duration", "0.35s", "--repeats", "2", "--fixture-c", "65p 1p",
			"--fixture-r", "1M 1%", "--reference", "current", "--sense-r", "10"}, take[2:]...)...)
	}
	fittedCoil(t, root, "lone", twoTakes)
	if status := cli.Run(t.Context(), []string{"fit", filepath.Join(bridge, "both")}, nil, io.Discard, io.Discard); status != 3 {
		t.Fatalf("a fit of both as one coil: status %d", status)
	}
	// A pair of which a coil lies elsewhere is told, and nothing outside is read.
	elsewhere := filepath.Join(root, "far")
	mustRun(t, "pair", elsewhere, "--new", "--name", "Far pair")
	record := filepath.Join(elsewhere, "pair.toml")
	text, err := os.ReadFile(record)
	if err != nil {
		t.Fatal(err)
	}
	outside := filepath.Join(t.TempDir(), "second")
	text = []byte(strings.Replace(string(text), `second = "second"`, fmt.Sprintf("second = %q", filepath.ToSlash(outside)), 1))
	if err := os.WriteFile(record, text, 0o666); err != nil {
		t.Fatal(err)
	}

	s := startServe(t, root, "--bench", "virtual", "--virtual-file", fast(t, t.TempDir()))
	p := s.open(browser, browserrig.View{Width: 1440, Height: 900})
	p.step("compare")
	role := func(coil string) string {
		return browserrig.JS[string](p.Tab, fmt.Sprintf(`(box => box ? box.closest("tr").cells[1].textContent : "not there")(document.querySelector('#many-coils input[value=%q]'))`, coil))
	}
	p.await("the list", `document.querySelectorAll("#many-coils tbody tr").length === 7`)
	for coil, want := range map[string]string{"bridge/first": "first coil", "bridge/second": "second coil",
		"bridge/both": "both coils", "lone": "", "far/second": ""} {
		if got := role(coil); got != want {
			t.Errorf("%s is %q of a pair, want %q", coil, got, want)
		}
	}
	p.says("#many-pairs li", "cannot be worked out: not in this folder: second coil")
	c := newCaller(s, root)
	if status, answer := c.asks("POST", "/api/pair", map[string]any{"pair": "far"}); status != 422 || answer["field"] != "pair" {
		t.Errorf("the far pair: %d %v", status, answer)
	}

	// Two coils of it, chosen to be compared, are offered as a pair.
	p.click(`#many-coils input[value="bridge/first"]`)
	if p.Visible("#many-pair") {
		t.Error("one coil is offered as a pair")
	}
	p.click(`#many-coils input[value="lone"]`)
	if p.Visible("#many-pair") {
		t.Error("coils that are no pair are offered as one")
	}
	p.click(`#many-coils input[value="lone"]`)
	p.click(`#many-coils input[value="bridge/second"]`)
	p.write("#many-partial-r", "4,7k 5%")
	if got := browserrig.JS[[]string](p.Tab, `[...document.querySelectorAll("[data-do=pair]")].map(b => b.dataset.pair)`); !slices.Equal(got, []string{"bridge", "bridge"}) {
		t.Errorf("offered to be worked out: %q", got)
	}
	p.click("#many-pair")
	p.await("an answer", `document.querySelector("#many-answer h2, #many-form .wrong:not([hidden])")`)
	p.says("#many-answer h2", "Pair")
	p.says("#many-answer .lead", "Invented pair")
	p.says("#many-answer td", "±")
	p.says("#many-answer", "coupling")
	p.says("#many-answer", "partial split by 4.7k 5%, screws")
	p.await("figures", `document.querySelectorAll("#many-answer figure svg .curve").length > 6`)
	p.shoot("pair")
	p.Accessible("", 15)

	line := strings.ReplaceAll(p.text("#many-answer .line code"), "coilsweep pair bridge", "pair "+bridge)
	args := regexp.MustCompile(`"[^"]*"|\S+`).FindAllString(line, -1)
	for i := range args {
		args[i] = strings.Trim(args[i], `"`)
	}
	out, csv := filepath.Join(t.TempDir(), "pair.html"), filepath.Join(t.TempDir(), "pair.csv")
	said := printed(t, append(args, "--out", out, "--csv", csv)...)
	file := func(path string) string {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	page := browserrig.JS[string](p.Tab, `fetch(document.querySelector("#many-answer .links a").href).then(r => r.text())`)
	if want := strings.ReplaceAll(timeless(file(out)), "<!-- made by coilsweep -->\n", ""); timeless(page) != want {
		t.Error("the page on the pair is not that of the command")
	}
	if got := p.fetched("#many-answer a[download]"); got != file(csv) || !strings.Contains(got, "level_U95_db") {
		t.Errorf("the responses as CSV: %.300s", got)
	}
	screws := regexp.MustCompile(`(?m)^screws +(\S+ ± \S+ H)`).FindStringSubmatch(said)
	if screws == nil {
		t.Fatalf("the command says\n%s", said)
	}
	p.says("#many-answer td", screws[1])

	// What is measured of both is no coil, and its result says so.
	p.click(`#many-coils button[data-coil="bridge/both"]`)
	p.step("result")
	p.says("#result-state", "are those of both coils of the pair Invented pair")
	p.step("compare")
	p.write("#many-partial-r", "")
	p.onPhone("pair", "the pair")
	p.Accessible(`runOnly: ["color-contrast"], `, 1)
	p.quiet(s)
}
