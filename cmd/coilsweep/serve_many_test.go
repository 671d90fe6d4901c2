package main

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"coilsweep/capture/atomicfile"
	"coilsweep/fit"
	"coilsweep/report/browserrig"
)

// workshopOf makes a folder of n coils that are measured, no two alike: of one that is, with
// its recordings.
func workshopOf(t testing.TB, root string, n int) {
	t.Helper()
	fittedCoil(t, root, "c001", twoTakes)
	first := filepath.Join(root, "c001")
	text, err := os.ReadFile(filepath.Join(first, "coil.toml"))
	if err != nil {
		t.Fatal(err)
	}
	do := func(err error) {
		if err != nil {
			t.Helper()
			t.Fatal(err)
		}
	}
	for i := 2; i <= n; i++ {
		name := fmt.Sprintf("c%03d", i)
		dir := filepath.Join(root, name)
		do(os.CopyFS(dir, os.DirFS(first)))
		for take := range twoTakes { // recordings are large
			audio := filepath.Join("takes", take, "capture.wav")
			do(os.Remove(filepath.Join(dir, audio)))
			do(os.Link(filepath.Join(first, audio), filepath.Join(dir, audio)))
		}
		own := []byte(strings.Replace(string(text), `"c001"`, fmt.Sprintf("%q", name), 1))
		do(os.WriteFile(filepath.Join(dir, "coil.toml"), own, 0o666))
		var r fit.Result
		readJSON(t, filepath.Join(first, "result.json"), &r)
		r.Coil, r.Record.CoilSHA256 = name, atomicfile.Sum(own)
		part := 1 + 0.02*float64(i%21-10)/10
		r.Inductance.Value *= part
		r.BareQ.Value /= part
		whole, err := json.Marshal(r)
		do(err)
		do(os.WriteFile(filepath.Join(dir, "result.json"), whole, 0o666))
	}
}

// The list of coils says what has changed since it was asked for last, and no more.
func TestServeListChanges(t *testing.T) {
	t.Parallel()
	root := t.TempDir()
	workshopOf(t, root, 20)
	s := serve(t, root, false)
	size := func(v any) int { text, _ := json.Marshal(v); return len(text) }
	whole := s.gets("GET", "/api/coils", nil)
	if whole["whole"] != true || len(whole["coils"].([]any)) != 20 || len(whole["lines"].([]any)) != 20 {
		t.Fatalf("the list is %v", whole)
	}
	since := whole["revision"].(string)
	// asks again and wants so many lines, and whether the coils or their order are others.
	again := func(what string, lines int, coils bool) map[string]any {
		t.Helper()
		v := s.gets("GET", "/api/coils?since="+since, nil)
		since = v["revision"].(string)
		if v["whole"] == true || len(v["lines"].([]any)) != lines || (v["coils"] != nil) != coils {
			t.Errorf("%s: %v", what, v)
		}
		return v
	}
	none := again("nothing has changed", 0, false)
	notes := filepath.Join(root, "c007", "coil.toml")
	text, err := os.ReadFile(notes)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(notes, []byte(strings.Replace(string(text), `"c007"`, `"Renamed"`, 1)), 0o666); err != nil {
		t.Fatal(err)
	}
	one := again("one was renamed", 1, false)
	if row := within(one, "lines", 0, "row").(string); !strings.Contains(row, "Renamed") ||
		!strings.Contains(row, "out of date") {
		t.Errorf("the line of what was renamed: %s", row)
	}
	t.Logf("whole %d bytes, one coil changed %d, none %d", size(whole), size(one), size(none))
	if size(one) > size(whole)/5 || size(none) > size(whole)/8 {
		t.Errorf("whole %d bytes, one coil changed %d, none %d", size(whole), size(one), size(none))
	}
	s.gets("POST", "/api/coils", map[string]any{"coil": "a-new-one", "options": map[string]string{"name": "New"}})
	again("one was made", 1, true)
	// A file that was changed by hand, in a folder of a take, makes the result out of date.
	take := filepath.Join(root, "c009", "takes", "bare", "take.toml")
	if text, err = os.ReadFile(take); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(take, append(text, "# looked at\n"...), 0o666); err != nil {
		t.Fatal(err)
	}
	if row := within(again("a take was edited", 1, false), "lines", 0, "row").(string); !strings.Contains(row,
		"out of date") {
		t.Errorf("the line of what was edited: %s", row)
	}
	if err := os.RemoveAll(filepath.Join(root, "c003")); err != nil {
		t.Fatal(err)
	}
	if v := again("one is gone", 0, true); len(v["coils"].([]any)) != 20 {
		t.Errorf("one is gone: %v", v)
	}
	for _, other := range []string{"", "x", "1-1", since + "0"} {
		if v := s.gets("GET", "/api/coils?since="+other, nil); v["whole"] != true || len(v["lines"].([]any)) != 20 {
			t.Errorf("since %q: %v", other, v)
		}
	}
}

// Work on many coils tells the page that asked how far it is, ends with the request, and
// keeps nobody else waiting.
func TestServeManyCoils(t *testing.T) {
	t.Parallel()
	root := t.TempDir()
	workshopOf(t, root, 30)
	var coils []string
	for i := range 30 {
		coils = append(coils, fmt.Sprintf("c%03d", i+1))
	}
	s := serve(t, root, false)
	events := s.listens()
	ask := func(ctx context.Context, path string, coils []string, ticket string) (int, error) {
		body, err := json.Marshal(map[string]any{"coils": coils, "ticket": ticket})
		if err != nil {
			t.Fatal(err)
		}
		r, err := http.NewRequestWithContext(ctx, "POST", s.base+path, strings.NewReader(string(body)))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("X-Coilsweep-Key", s.key)
		r.Header.Set("Content-Type", "application/json")
		answer, err := http.DefaultClient.Do(r)
		if err != nil {
			return 0, err
		}
		defer answer.Body.Close()
		return answer.StatusCode, nil
	}
	if status, err := ask(t.Context(), "/api/batch", coils, "first"); err != nil || status != 200 {
		t.Fatalf("batch: %d %v", status, err)
	}
	s.waits("how far it is", func() bool { return events.of("many", "ticket") == "first" && events.of("many", "of") == 30.0 })

	// Coils whose circuits are to be fitted again: that takes seconds.
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() {
		_, err := ask(ctx, "/api/compare", coils[1:9], "second")
		ended <- err
	}()
	s.waits("the first of the fits", func() bool { return events.of("many", "ticket") == "second" })
	slowest := time.Duration(0)
	for _, path := range []string{"/api/coils", "/api/next?coil=c001", "/api/coil?coil=c001", "/api/result?coil=c001",
		"/api/coils", "/api/bench"} {
		begin := time.Now()
		s.gets("GET", path, nil)
		slowest = max(slowest, time.Since(begin))
	}
	select {
	case err := <-ended:
		t.Errorf("what others asked was answered after the comparison, %v", err)
	default:
	}
	t.Logf("beside it, the slowest answer took %v", slowest)
	stop()
	if err := <-ended; err == nil {
		t.Error("the comparison went on to its end")
	}
	s.waits("rest", func() bool {
		before := events.of("many", "done")
		time.Sleep(time.Second)
		return events.of("many", "done") == before
	})
	if done, _ := events.of("many", "done").(float64); done >= 8 {
		t.Errorf("after it was stopped, %g of 8 coils were looked at", done)
	}
}

// TestManyPage looks at the list of coils in a browser, and at what is said of several.
func TestManyPage(t *testing.T) {
	t.Parallel()
	browser := browserrig.Start(t, browserLife)
	root := t.TempDir()
	workshopOf(t, root, 40)
	s := startServe(t, root, "--bench", "virtual", "--virtual-file", fast(t, t.TempDir()))
	p := s.open(browser, browserrig.View{Width: 1440, Height: 900})
	p.step("compare")
	p.await("the list", `document.querySelectorAll("#many-coils tbody tr").length === 40`)
	column := func(table string, n int) []string {
		return browserrig.JS[[]string](p.Tab, fmt.Sprintf(`[...document.querySelector(%q).tBodies[0].rows].map(r =>
			r.cells[%d].textContent.trim().replaceAll("\u00a0", " "))`, table, n))
	}
	const list, ofL = "#many-coils table", 5 // coil, takes, result, resonance, Q, L
	head := func(n int) string { return fmt.Sprintf("%s thead th:nth-child(%d)", list, n+1) }
	sorted := func() string {
		return browserrig.JS[string](p.Tab, fmt.Sprintf(`document.querySelector(%q).getAttribute("aria-sort") ?? "none"`,
			head(ofL)))
	}
	asListed := strings.Join(column(list, 0), " ")
	for _, want := range []struct{ order, first, last string }{
		{"ascending", "2.35 H", "2.45 H"}, {"descending", "2.45 H", "2.35 H"}, {"none", "", ""},
	} {
		p.click(head(ofL) + " button")
		got := column(list, ofL)
		if sorted() != want.order || want.first != "" && (got[0] != want.first || got[len(got)-1] != want.last) {
			t.Errorf("by L, %s: aria-sort %s, %q … %q", want.order, sorted(), got[0], got[len(got)-1])
		}
	}
	if now := strings.Join(column(list, 0), " "); now != asListed {
		t.Errorf("unsorted again, it is %s", now)
	}
	// The order that was chosen outlives a change.
	p.click(head(0) + " button")
	p.click(head(0) + " button")
	mustRun(t, "new", filepath.Join(root, "zz"), "--name", "zz last")
	p.await("a new coil in its place", `document.querySelector("#many-coils tbody tr").textContent.includes("zz last")`)

	// The filter, and a bar that stays.
	p.write("#many-find", "c01")
	p.await("ten of them", `[...document.querySelectorAll("#many-coils tbody tr")].filter(r => !r.hidden).length === 10`)
	p.write("#many-find", "")
	for _, coil := range []string{"c002", "c010", "c011"} {
		p.click(fmt.Sprintf(`#many-coils input[value=%q]`, coil))
	}
	p.says("#many-compare", "Compare (3)")
	browserrig.JS[any](p.Tab, `window.scrollTo(0, 0); null`)
	if at := browserrig.JS[[]float64](p.Tab, `(r => [r.top, r.bottom, innerHeight, document.documentElement.scrollHeight])(
		document.getElementById("many-compare").getBoundingClientRect())`); at[1] > at[2] || at[0] < 0 || at[3] < 1.3*at[2] {
		t.Errorf("on a page of %g px the bar is at %g to %g of %g px", at[3], at[0], at[1], at[2])
	}
	p.shoot("many-list")
	p.Accessible("", 15)

	// What takes long says how far it is, and can be stopped.
	p.click("#many-none")
	for i := range 8 {
		p.click(fmt.Sprintf(`#many-coils input[value="c%03d"]`, i+2))
	}
	p.click("#many-compare")
	p.says("#many-far", "of 8 coils")
	p.shoot("many-working")
	p.click("#many-stop")
	p.says("#many-answer", "Stopped.")
	p.await("a bar without Stop", `document.getElementById("many-stop").hidden`)

	// A batch: which limit failed first, in words.
	p.click("#many-all")
	p.click("#many-batch summary")
	p.choose("#many-reference", "c001")
	p.write("#many-tolerance", "inductance_h=0.9%")
	p.write("#many-guard", "0")
	p.click("#many-run")
	p.says("#many-answer h2", "Batch")
	said := browserrig.JS[[]string](p.Tab, `[...document.querySelectorAll("#many-answer .said p")].map(p => p.textContent.replaceAll("\u00a0", " "))`)
	if len(said) < 3 || !strings.Contains(said[2], "c040 fails: L is 2.444 H, and is to be 2.38") {
		t.Errorf("of the batch it says %q", said)
	}
	p.says("#many-answer td", "fail: L")
	if table := p.fetched(`#many-answer a[download]`); !strings.HasPrefix(table, "coil,folders,") ||
		strings.Count(table, "\n") != 41 {
		t.Errorf("the batch as CSV: %.200s", table)
	}
	p.oneUnit("#many-answer")
	p.shoot("many-batch")
	p.Accessible("", 15)
	p.click("#many-none")
	for _, coil := range []string{"c001", "c002", "c011", "c012", "c013", "c014", "c015", "c016", "c017"} {
		p.click(fmt.Sprintf(`#many-coils input[value=%q]`, coil))
	}
	p.click("#many-compare") // nine: without curves
	p.says("#many-answer h2", "Comparison")
	for _, sentence := range browserrig.JS[[]string](p.Tab, `[...document.querySelectorAll("#many-answer .said p")].map(p => p.textContent)`) {
		if !strings.Contains(sentence, "L") || !strings.Contains(sentence, " C") {
			t.Errorf("how it is with L and C is not said: %s", sentence)
		}
	}
	p.oneUnit("#many-answer")
	for name, view := range map[string]browserrig.View{
		"many-phone": {Width: 390, Height: 800}, "many-tablet": {Width: 1024, Height: 768}, "many-dark": {Dark: true},
	} {
		p.Show(view)
		p.shoot(name)
		if view.Width > 0 {
			p.Fits(name, float64(view.Width))
		}
	}
	p.Accessible(`runOnly: ["color-contrast"], `, 1)
	p.quiet(s)
}

// oneUnit wants one unit in each column of the tables of a place that have a coil a row.
func (p benchTab) oneUnit(place string) {
	p.T.Helper()
	columns := browserrig.JS[[][]string](p.Tab, fmt.Sprintf(`[...document.querySelectorAll(%q + " table")].filter(t =>
		t.querySelector("tbody th:is(.short, .long)")).flatMap(t => [...t.tHead.rows[0].cells].map(h => [...new Set(
		[...t.tBodies[0].rows].map(r => r.cells[h.cellIndex].firstChild?.textContent.replaceAll("\u00a0", " ")
			.match(/^[+−]?[\d.]+(?: ± [\d.]+)? ?(\D*)$/)?.[1]).filter(u => u !== undefined))]))`, place))
	if len(columns) < 10 {
		p.T.Errorf("%d columns", len(columns))
	}
	units := 0
	for i, found := range columns {
		units += len(found)
		if len(found) > 1 {
			p.T.Errorf("column %d has units %q", i, found)
		}
	}
	if units < 8 {
		p.T.Errorf("units are %q", columns)
	}
}
