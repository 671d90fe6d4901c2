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
	"time"

	"coilsweep/cmd/coilsweep/internal/cli"
	"coilsweep/report/browserrig"
)

// TestListPage looks at the list of coils in a browser: what tells them from each other, and
// what can be had of the list.
func TestListPage(t *testing.T) {
	t.Parallel()
	browser := browserrig.Start(t, 5*time.Minute)
	t.Run("serials and CSV", func(t *testing.T) { testListed(t, browser) })
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
	timeless := func() string {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		return regexp.MustCompile(`\d{4}-\d\d-\d\d[ T]\d\d:\d\d(:\d\d)?`).ReplaceAllString(string(text), "TIME")
	}
	byPage := timeless()
	mustRun(t, "report", filepath.Join(root, "a"), "--certificate")
	if timeless() != byPage {
		t.Errorf("the page's certificate is not the command's")
	}
	p.onPhone("certificate-made", "the report step")
	p.Accessible(`runOnly: ["color-contrast"], `, 1)
	p.quiet(s)
}
