package main

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp/kb"

	"coilsweep/cmd/coilsweep/internal/cli"
	"coilsweep/report/browserrig"
)

// TestFiguresPage looks at figures on the bench page: their cursor and zoom, and the one
// that follows the knobs of a guitar.
func TestFiguresPage(t *testing.T) {
	t.Parallel()
	browser := browserrig.Start(t, browserLife)
	t.Run("cursor and zoom", func(t *testing.T) { testFigures(t, browser) })
	t.Run("knobs", func(t *testing.T) { testKnobs(t, browser) })
	t.Run("page to keep", func(t *testing.T) { testPageToKeep(t, browser) })
}

// fittedCoil makes a coil in root with takes, and its result.
func fittedCoil(t testing.TB, root, name string, takes map[string][]string) {
	t.Helper()
	dir := filepath.Join(root, name)
	mustRun(t, "new", dir, "--name", name, "--dcr", "7.85k@20C 0.5%")
	for _, take := range slices.Sorted(maps.Keys(takes)) {
		mustRun(t, append([]string{"measure", dir, "--take", take, "--bench", "virtual", "--duration", "0.35s",
			"--repeats", "2", "--fixture-c", "65p 5%", "--fixture-r", "1M 1%"}, takes[take]...)...)
	}
	mustRun(t, "fit", dir, "--model", "one ring")
}

var twoTakes = map[string][]string{"bare": nil, "c470": {"--added-c", "470p 1%"}}

// frequencies are the labels below a figure of a place.
func (p benchTab) frequencies(place string) string {
	p.T.Helper()
	return browserrig.JS[string](p.Tab, fmt.Sprintf(`[...document.querySelectorAll(
		%q + " :not(.n) > svg .grid-x")].map(g => [...g.querySelectorAll("text")].map(t => t.textContent).join(" ")).join("; ")`,
		place))
}

// testFigures: figures begin with what there is to see, show all of it by key or button,
// zoom, and have a cursor that tells the values.
func testFigures(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	fittedCoil(t, root, "a", twoTakes)
	s := startServe(t, root, "--bench", "virtual", "--virtual-file", fast(t, t.TempDir()))
	p := s.open(browser, browserrig.View{})
	p.step("result")
	const fit = `#result [data-part="fit"]`
	const all = "50 100 200 500 1k 2k 5k 10k 20k"
	both := func(labels string) string { return labels + "; " + labels }
	p.await("the response", `document.querySelector('#result [data-part="fit"] .cursor-line')`)
	cropped := p.frequencies(fit)
	if strings.HasPrefix(cropped, "50 ") || !strings.Contains(cropped, " 10k") {
		t.Errorf("the response is shown over %q at first", cropped)
	}

	// The cursor begins at the highest point, with the values of all takes.
	var result struct {
		Takes []struct {
			Name   string
			Peak   struct{ Value float64 } `json:"peak_hz"`
			PeakDB struct{ Value float64 } `json:"peak_db"`
		}
	}
	readJSON(t, filepath.Join(root, "a", "result.json"), &result)
	bare := result.Takes[0]
	cells := strings.Split(browserrig.JS[string](p.Tab, `[...document.querySelectorAll('`+fit+
		` .looking :is(output, tbody tr:first-child > *)')].map(n => n.textContent).join("|")`), "|")
	var khz, db float64
	if len(cells) == 4 {
		fmt.Sscanf(cells[0], "%g kHz", &khz)
		fmt.Sscanf(cells[2], "%g dB", &db)
	}
	if bare.Name != "bare" || len(cells) != 4 || cells[1] != "bare" || math.Abs(khz*1000/bare.Peak.Value-1) > 0.03 ||
		math.Abs(db-bare.PeakDB.Value) > 0.1 || !strings.HasSuffix(cells[3], "°") {
		t.Errorf("the cursor says %q; take %s peaks at %g Hz with %g dB", cells, bare.Name, bare.Peak.Value,
			bare.PeakDB.Value)
	}
	p.shoot("figures")
	p.Accessible("", 15)

	p.click(fit + ` [data-do="whole"]`)
	if got := p.frequencies(fit); got != both(all) {
		t.Errorf("all of it is %q", got)
	}
	p.says(fit+` [data-do="whole"]`, "Crop")
	p.click(fit + ` [data-do="whole"]`)
	if got := p.frequencies(fit); got != cropped {
		t.Errorf("cropped again it is %q, at first it was %q", got, cropped)
	}
	p.Key(fit+` .looking input`, "0")
	if got := p.frequencies(fit); got != both(all) {
		t.Errorf("after the key 0 it is %q", got)
	}
	p.Key(fit+` .looking input`, "++")
	near := p.frequencies(fit)
	if near == both(all) || strings.Contains(near, "50 100 ") {
		t.Errorf("after two times + it is %q", near)
	}
	before := p.text(fit + ` .looking output`)
	p.Key(fit+` .looking input`, kb.ArrowRight+kb.ArrowRight)
	if after := p.text(fit + ` .looking output`); after == before {
		t.Errorf("the arrow key leaves the cursor at %s", after)
	}
	p.click(fit + ` [data-do="wider"]`)
	p.click(fit + ` [data-do="wider"]`)
	box := browserrig.JS[struct{ Left, Right, Middle float64 }](p.Tab, `(svg => {
		svg.scrollIntoView({block: "center", behavior: "instant"});
		const r = svg.getBoundingClientRect(), k = r.width / svg.viewBox.baseVal.width;
		const [left, top, right, bottom] = svg.dataset.box.split(" ").map(Number);
		return {Left: r.left + k * left, Right: r.left + k * right, Middle: r.top + k * (top + bottom) / 2};
	})(document.querySelector('`+fit+` .w svg'))`)
	at := func(part float64) float64 { return box.Left + part*(box.Right-box.Left) }
	p.Mouse(input.DispatchMouseEventTypeMousePressed, at(0.6), box.Middle)
	p.Mouse(input.DispatchMouseEventTypeMouseMoved, at(0.7), box.Middle)
	p.Mouse(input.DispatchMouseEventTypeMouseMoved, at(0.9), box.Middle)
	p.Mouse(input.DispatchMouseEventTypeMouseReleased, at(0.9), box.Middle)
	// 20 Hz to 20 kHz, so from 1.3 kHz to 10 kHz.
	if got := p.frequencies(fit); got != both("2k 5k 10k") && got != both("2k 5k") {
		t.Errorf("after a drag over the axis from 0.6 to 0.9 of it, it is %q", got)
	}
	for name, view := range map[string]browserrig.View{
		"figures-phone": {Width: 390, Height: 800}, "figures-tablet": {Width: 1024, Height: 768},
		"figures-wide": {Width: 1440, Height: 900}, "figures-dark": {Dark: true},
	} {
		p.Show(view)
		p.shoot(name)
		p.Fits(name, float64(cmp.Or(view.Width, 1200)))
	}
	p.Accessible(`runOnly: ["color-contrast"], `, 1)
	p.quiet(s)
}

// testKnobs: drawn knobs turn by drag, wheel and keys; the curve follows at once, and no
// older answer stands above a newer one.
func testKnobs(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	fittedCoil(t, root, "a", twoTakes)
	s := startServe(t, root, "--bench", "virtual", "--virtual-file", fast(t, t.TempDir()))
	p := s.open(browser, browserrig.View{Width: 1440, Height: 900})
	p.step("guitar")
	p.await("the curve", `document.querySelector("#guitar-figure .cursor-line")`)
	p.await("all positions", `document.querySelectorAll("#guitar-table tr").length > 8`)

	middle := func(knob string) (x, y float64) {
		at := browserrig.JS[[2]float64](p.Tab, fmt.Sprintf(`(r => [r.left + r.width / 2, r.top + r.height / 2])(
			document.getElementById(%q).closest(".knob").querySelector("svg").getBoundingClientRect())`, knob))
		return at[0], at[1]
	}
	stands := func(what, knob, want string) {
		t.Helper()
		if got := browserrig.JS[string](p.Tab, fmt.Sprintf(`(n => n.value + " " + n.getAttribute("aria-valuetext") +
			(document.activeElement === n ? " focused" : ""))(document.getElementById(%q))`, knob)); got != want {
			t.Errorf("%s: %s stands at %q, want %q", what, knob, got, want)
		}
	}
	drag := func(knob string, ways ...[2]float64) {
		x, y := middle(knob)
		p.Mouse(input.DispatchMouseEventTypeMousePressed, x+ways[0][0], y+ways[0][1])
		for _, to := range ways[1:] {
			p.Mouse(input.DispatchMouseEventTypeMouseMoved, x+to[0], y+to[1])
		}
		end := ways[len(ways)-1]
		p.Mouse(input.DispatchMouseEventTypeMouseReleased, x+end[0], y+end[1])
	}
	// A quarter turn to the left is 90 of the 300 degrees.
	drag("g-volume-at", [2]float64{30, 0}, [2]float64{21, -21}, [2]float64{0, -30})
	stands("a quarter turn", "g-volume-at", "7 7 focused")
	drag("g-volume-at", [2]float64{0, -30}, [2]float64{-30, 0}, [2]float64{0, 30}, [2]float64{30, 0}, [2]float64{0, -30})
	stands("a whole turn, past its end", "g-volume-at", "0 0 focused")
	p.press(kb.ArrowRight + kb.ArrowRight + kb.End)
	stands("its key", "g-volume-at", "10 10 focused")
	x, y := middle("g-tone-at")
	for range 2 {
		browserrig.Call(p.Tab, input.DispatchMouseEvent, input.DispatchMouseEventParams{
			Type: input.DispatchMouseEventTypeMouseWheel, X: x, Y: y, DeltaX: 0.1, DeltaY: 100})
	}
	p.await("two clicks of the wheel", `document.getElementById("g-tone-at").value === "9"`)
	drag("g-cable-length", [2]float64{0, 0}, [2]float64{20, 0}, [2]float64{40, 0})
	stands("the cable, drawn out", "g-cable-length", "7 7 metres focused")
	p.shoot("knobs")
	p.Accessible("", 15)

	// From the turn to the new curve on the screen, while the answer with every position of
	// the knobs is still to come.
	took := browserrig.JS[[]float64](p.Tab, `(async () => {
		const real = window.fetch, knob = document.getElementById("g-cable-length"), took = [];
		const curve = () => document.querySelector("#guitar-figure .w .curve")?.getAttribute("d");
		window.fetch = async (path, options) => {
			const answer = await real(path, options);
			if (options?.body?.includes?.('"all":true')) { window.late = true; await new Promise(r => setTimeout(r, 2500)); }
			return answer;
		};
		for (let i = 0; i < 30; i++) {
			if (i === 6) { window.late = false; while (!window.late) await new Promise(r => setTimeout(r, 10)); }
			const before = curve(), at = performance.now();
			knob.value = 1 + i % 15 * 0.7;
			knob.dispatchEvent(new Event("input", {bubbles: true}));
			while (curve() === before && performance.now() < at + 5000) await new Promise(requestAnimationFrame);
			took.push(performance.now() - at);
			await new Promise(r => setTimeout(r, 60));
		}
		window.fetch = real;
		return took; })()`)
	// How fast is for BenchmarkPageKnobs to say, on a machine that does nothing else.
	t.Logf("from the turn to the curve: %.0f ms", took)
	if took[6] > 2000 {
		t.Errorf("beside a long answer the curve follows after %.0f ms: it waits for that", took[6])
	}

	// The last answer that is shown is that to the last question, however late others are.
	p.await("the same numbers as for one who asks now", `(async () => {
		const {post} = await import("/api.js"), {harness} = await import("/guitar.js"), {state} = await import("/state.js");
		await new Promise(r => setTimeout(r, 3000));
		const answer = await post("/api/guitar", {coils: [state.coilID], options: harness(), all: true});
		return ["guitar-numbers", "guitar-table"].every(id => document.getElementById(id).written === answer.html[id]); })()`)

	p.write("#g-volume", "10k")
	p.says("#guitar-numbers", "no peak")
	if got := p.text("#guitar-numbers div"); strings.Contains(got, "not known") {
		t.Errorf("where there is no peak, it says %q", got)
	}
	p.await("the sentence", `document.getElementById("guitar-said").textContent.includes("no peak")`)
	p.shoot("no-peak")
	p.write("#g-volume", "500k")

	// Treble bleed, and how two coils are coupled.
	p.write("#g-bleed-c", "1n")
	p.write("#g-bleed-parallel", "150k")
	p.Key("#g-volume-at", kb.Home+strings.Repeat(kb.ArrowRight, 50))
	p.says("#predict-line", "--bleed-c 1n --bleed-parallel 150k")
	p.await("the bleed in what is worked out", `(async () => { const {harness} = await import("/guitar.js");
		return harness()["bleed-parallel"] === "150k" && !document.querySelector("#guitar-form .wrong:not([hidden])"); })()`)
	for name, view := range map[string]browserrig.View{
		"guitar-phone": {Width: 390, Height: 800}, "guitar-tablet": {Width: 1024, Height: 768}, "guitar-dark": {Dark: true},
	} {
		p.Show(view)
		p.shoot(name)
	}
	p.quiet(s)
}

// testPageToKeep: the button that makes a page of the guitar is pressed where it is, whatever
// comes in meanwhile; the link stays for as long as the guitar is that of the page, and no
// longer.
func testPageToKeep(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	fittedCoil(t, root, "a", twoTakes)
	s := startServe(t, root, "--bench", "virtual", "--virtual-file", fast(t, t.TempDir()))
	p := s.open(browser, browserrig.View{Width: 1440, Height: 900})
	p.step("guitar")
	p.await("all positions", `document.querySelectorAll("#guitar-table tr").length > 8`)
	// Answers with every position wait until they are let through; those with a page are counted.
	browserrig.JS[any](p.Tab, `(() => {
		const real = window.fetch;
		window.asked = window.pages = 0;
		window.fetch = async (path, options) => {
			const whole = options?.body?.includes?.('"all":true'), page = options?.body?.includes?.('"page":true');
			if (whole) { asked++; await new Promise((pass) => { window.pass = pass; }); }
			const answer = await real(path, options);
			pages += page ? 1 : 0;
			return answer;
		};
		return null; })()`)
	linked := `document.querySelector("#guitar-page a")`
	// rests turns a knob, and waits for the question after every position that follows.
	rests := func(knob, key string) {
		t.Helper()
		before := browserrig.JS[int](p.Tab, `asked`)
		p.Key(knob, key)
		p.await("the question after every position", fmt.Sprintf(`asked > %d`, before))
	}
	for i, view := range []browserrig.View{{Width: 1440, Height: 900}, {Width: 1024, Height: 768}, {Width: 390, Height: 800}} {
		p.Show(view)
		before, key := p.text("#guitar-table"), []string{kb.Home, kb.End, kb.Home}[i]
		rests("#g-cable-length", key) // without a cable the table has a row less
		at := browserrig.JS[[2]float64](p.Tab, `(n => { n.scrollIntoView({block: "center", behavior: "instant"});
			const r = n.getBoundingClientRect(); return [r.left + r.width / 2, r.top + r.height / 2]; })(document.getElementById("guitar-make"))`)
		p.Mouse(input.DispatchMouseEventTypeMousePressed, at[0], at[1])
		browserrig.JS[any](p.Tab, `pass(); null`)
		p.await("the other table", fmt.Sprintf(
			`document.getElementById("guitar-table").textContent.replaceAll("\u00a0", " ") !== %q`, before))
		p.Mouse(input.DispatchMouseEventTypeMouseReleased, at[0], at[1])
		p.await("the link to the page", linked)

		// What is said anew of the same guitar leaves it alone.
		asked := browserrig.JS[int](p.Tab, `import("/state.js").then(({changed}) => { changed("coils"); changed("result"); return asked; })`)
		p.await("the question after every position", fmt.Sprintf(`asked > %d`, asked))
		if !browserrig.JS[bool](p.Tab, `Boolean(`+linked+`)`) {
			t.Error("the link is gone though nothing has changed")
		}
		browserrig.JS[any](p.Tab, `pass(); null`)
		p.shoot(fmt.Sprint("page-to-keep-", view.Width))
		rests("#g-tone-at", key)
		if browserrig.JS[bool](p.Tab, `Boolean(`+linked+`)`) {
			t.Error("the link stays though the guitar is another")
		}
		browserrig.JS[any](p.Tab, `pass(); null`)
	}

	// A page of the guitar as it was before a knob was turned is no page of it.
	browserrig.JS[any](p.Tab, `document.getElementById("guitar-make").click(); null`)
	p.Key("#g-volume-at", kb.ArrowLeft)
	p.await("the page that is late", `pages === 4`)
	p.await("nothing of it", `document.getElementById("guitar-page").textContent === ""`)
	p.quiet(s)
}

// TestMorePage looks at what the page can as the commands can: choice of the model, a take
// at two levels, figures and tables to take away, the design of an exciter.
func TestMorePage(t *testing.T) {
	t.Parallel()
	browser := browserrig.Start(t, browserLife)
	root := t.TempDir()
	fittedCoil(t, root, "a", twoTakes)
	s := startServe(t, root, "--bench", "virtual", "--virtual-file", fast(t, t.TempDir()))
	p := s.open(browser, browserrig.View{})
	var result struct {
		Model struct {
			Name  string
			Tried []struct{ Name string }
		}
		Record struct{ Options struct{ Models []string } }
	}
	fits := func(what string, is func() bool) {
		t.Helper()
		for deadline := time.Now().Add(patience); ; time.Sleep(50 * time.Millisecond) {
			readJSON(t, filepath.Join(root, "a", "result.json"), &result)
			if is() {
				return
			}
			if time.Now().After(deadline) {
				t.Fatalf("%s: %+v", what, result)
			}
		}
	}

	// The model: that of the last fit stands there, another can be chosen, or all.
	p.step("result")
	p.await("the model of the last fit", `document.getElementById("f-model").value === "one ring"`)
	p.choose("#f-model", "two rings")
	p.says("#fit-line", `coilsweep fit a --model "two rings"`)
	p.click(`#fit-form button[type="submit"]`)
	fits("two rings", func() bool {
		return result.Model.Name == "two rings" && len(result.Model.Tried) == 1
	})
	p.says("#result-circuit", "two eddy-current loops")
	p.choose("#f-model", "")
	p.click(`#fit-form button[type="submit"]`)
	result.Record.Options.Models = nil
	fits("all of them", func() bool { return len(result.Model.Tried) > 3 })
	p.await("no model", `document.getElementById("f-model").value === ""`)
	p.shoot("model")

	// Two levels.
	p.step("takes")
	p.click(`#take-list [data-key="bare"] [data-do="levels"]`)
	p.says(`#take-list [data-key="bare"]`, "linear: at ")
	p.says(`#take-list [data-key="bare"]`, "dBFS as at ")

	// Figures for print, in each format.
	p.step("report")
	file := func() string {
		t.Helper()
		p.await("a file", `document.querySelector("#figure-link a")`)
		return p.fetched(`#figure-link a`)
	}
	for format, begin := range map[string]string{"pdf": "%PDF-", "svg": "<svg", "png": "‰PNG"} {
		p.choose("#p-format", format)
		p.choose("#p-what", "line")
		p.write("#p-width", "85mm")
		p.says("#plot-line", "coilsweep plot a --what line --width 85mm --out line."+format)
		p.click(`#figure-form button[type="submit"]`)
		if text := file(); !strings.HasPrefix(text, begin) {
			t.Errorf("%s begins with %.20q", format, text)
		}
		browserrig.JS[any](p.Tab, `document.getElementById("figure-link").textContent = ""; null`)
	}
	p.choose("#p-what", "predict")
	p.choose("#p-format", "svg")
	p.says("#plot-line", "--cable-length 5")
	p.click(`#figure-form button[type="submit"]`)
	if text := file(); !strings.Contains(text, "level, dB over the EMF") {
		t.Errorf("the prediction is %.300s", text)
	}
	p.write("#p-width", "85")
	p.click(`#figure-form button[type="submit"]`)
	p.says("#figure-form .wrong", "want 40 mm to 1000 mm, with the unit")
	p.shoot("print")
	p.Accessible("", 15)

	// An exciter from what is in the drawer.
	p.step("bench")
	p.click("#exciter summary")
	p.write("#x-core", "10mm")
	p.write("#x-flange", "25mm")
	p.write("#x-length", "8mm")
	p.click(`#exciter-form button[type="submit"]`)
	p.says("#exciter-form .wrong", "wire is missing")
	p.write("#x-wire", "0.1mm, 0.2mm")
	p.says("#exciter-line", "coilsweep exciter --core 10mm --flange 25mm --length 8mm --wire 0.1mm --wire 0.2mm")
	p.click(`#exciter-form button[type="submit"]`)
	p.says("#exciter-answer h3", "turns of 0.")
	p.says("#exciter-answer dt", "series R")
	p.says("#exciter-answer h3", "The others")
	var sheet struct{ Exciters []struct{ Turns int } }
	out := &heard{}
	if status := cli.Run(t.Context(), []string{"exciter", "--core", "10mm", "--flange", "25mm", "--length", "8mm",
		"--wire", "0.1mm", "--wire", "0.2mm", "--json"}, nil, out, io.Discard); status != 0 {
		t.Fatalf("exciter: status %d", status)
	}
	if err := json.Unmarshal([]byte(out.String()), &sheet); err != nil || len(sheet.Exciters) != 2 {
		t.Fatalf("exciter: %v %+v", err, sheet)
	}
	p.says("#exciter-answer h3", fmt.Sprintf("%d turns of", sheet.Exciters[0].Turns))
	p.shoot("exciter")
	p.Accessible("", 15)
	p.Show(browserrig.View{Width: 390, Height: 800, Dark: true})
	p.shoot("exciter-phone")
	p.Fits("the exciter", 390)
	p.Accessible(`runOnly: ["color-contrast"], `, 1)
	p.quiet(s)
}

// fetched is the content of the file that a link leads to, a byte a character.
func (p benchTab) fetched(link string) string {
	p.T.Helper()
	return browserrig.JS[string](p.Tab, fmt.Sprintf(`fetch(document.querySelector(%q).href).then(r => r.arrayBuffer()).then(b =>
		new TextDecoder("latin1").decode(b))`, link))
}
