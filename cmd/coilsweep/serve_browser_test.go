package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"coilsweep/capture/virtual"
	"coilsweep/cmd/coilsweep/internal/cli"
	"coilsweep/report/browserrig"
)

// benchTab is the bench page in a browser.
type benchTab struct{ *browserrig.Tab }

func (s *served) open(browser context.Context, v browserrig.View) benchTab {
	s.t.Helper()
	p := benchTab{browserrig.Open(s.t, browser, s.url, v)}
	p.await("the bench step", `["bench", "coil"].some(step => !document.getElementById(step).hidden) && document.querySelector("#steps .word").textContent !== ""`)
	return p
}

// await waits until an expression is true in the page, or what it promises is.
func (p benchTab) await(what, expression string) {
	p.T.Helper()
	for deadline := time.Now().Add(patience); ; time.Sleep(50 * time.Millisecond) {
		if browserrig.JS[bool](p.Tab, `Promise.resolve(`+expression+`).then(Boolean)`) {
			return
		}
		if time.Now().After(deadline) {
			p.T.Fatalf("waited in vain for %s; the page says:\n%s", what,
				browserrig.JS[string](p.Tab, `document.body.innerText`))
		}
	}
}

// says waits until an element has a text in it.
func (p benchTab) says(selector, text string) {
	p.T.Helper()
	p.await(fmt.Sprintf("%q in %s", text, selector), fmt.Sprintf(
		`[...document.querySelectorAll(%q)].some(n => n.getClientRects().length && n.textContent.replaceAll("\u00a0", " ").includes(%q))`, selector, text))
}

// awaitRecording waits until a recording under way has so many bytes.
func (p benchTab) awaitRecording(path string, bytes int64) {
	p.T.Helper()
	for deadline := time.Now().Add(patience); size(path) < bytes; time.Sleep(20 * time.Millisecond) {
		if time.Now().After(deadline) {
			p.T.Fatalf("%s has %d bytes; the page says:\n%s", path, size(path),
				browserrig.JS[string](p.Tab, `document.body.innerText`))
		}
	}
}

func (p benchTab) text(selector string) string {
	p.T.Helper()
	return browserrig.JS[string](p.Tab,
		fmt.Sprintf(`document.querySelector(%q).textContent.replaceAll("\u00a0", " ")`, selector))
}

// usable waits until an element is there and can be used.
func (p benchTab) usable(selector string) {
	p.T.Helper()
	p.await(selector+", to be used",
		fmt.Sprintf(`(n => n && n.getClientRects().length && !n.disabled)(document.querySelector(%q))`, selector))
}

// click clicks an element once it stands still: what comes in above it moves it.
func (p benchTab) click(selector string) {
	p.T.Helper()
	p.usable(selector)
	browserrig.JS[any](p.Tab, fmt.Sprintf(`new Promise(done => {
		let last = "";
		const look = () => {
			const now = JSON.stringify(document.querySelector(%q)?.getBoundingClientRect());
			if (now === last) return done(null);
			last = now;
			setTimeout(look, 50);
		};
		look();
	})`, selector))
	p.Do(chromedp.Click(chromedp.CSS(selector)))
}

// write replaces the text of a field.
func (p benchTab) write(selector, text string) {
	p.T.Helper()
	p.usable(selector)
	p.Do(chromedp.Focus(chromedp.CSS(selector)))
	browserrig.JS[any](p.Tab, fmt.Sprintf(`document.querySelector(%q).select?.()`, selector))
	p.Do(chromedp.KeyEvent(kb.Backspace + text))
}

// choose takes one of a list.
func (p benchTab) choose(selector, value string) {
	p.T.Helper()
	if got := browserrig.JS[string](p.Tab,
		fmt.Sprintf(`(n => { n.value = %q; n.dispatchEvent(new Event("input", {bubbles: true})); n.dispatchEvent(new Event("change", {bubbles: true})); return n.value; })(document.querySelector(%q))`, value, selector)); got != value {
		p.T.Fatalf("%s offers no %q", selector, value)
	}
}

// tabTo presses the tab key until an element has the focus: so people without
// a pointer come there.
func (p benchTab) tabTo(selector string) {
	p.T.Helper()
	p.usable(selector)
	for range 250 {
		if browserrig.JS[bool](p.Tab, fmt.Sprintf(`document.activeElement.matches(%q)`, selector)) {
			return
		}
		p.Do(chromedp.KeyEvent(kb.Tab))
	}
	p.T.Fatalf("the tab key does not lead to %s", selector)
}

func (p benchTab) press(keys string) {
	p.T.Helper()
	p.Do(chromedp.KeyEvent(keys))
}

func (p benchTab) step(name string) { p.click(`#steps a[href="#` + name + `"]`) }

// TestBenchPage walks through the whole job in a browser, on a simulated bench.
func TestBenchPage(t *testing.T) {
	t.Parallel()
	browser := browserrig.Start(t, browserLife)
	t.Run("by mouse", func(t *testing.T) { testByMouse(t, browser) })
	t.Run("by keyboard", func(t *testing.T) { testByKeyboard(t, browser) })
	t.Run("two tabs, one closed in mid-take", func(t *testing.T) { testTwoTabs(t, browser) })
	t.Run("server killed in mid-take", func(t *testing.T) { testKilled(t, browser) })
	t.Run("recording dropped", func(t *testing.T) { testDropped(t, browser) })
	t.Run("modules", func(t *testing.T) { testModules(t, browser) })
	t.Run("parts", func(t *testing.T) { testParts(t, browser) })
	t.Run("key", func(t *testing.T) { testKey(t, browser) })
	t.Run("names", func(t *testing.T) { testNames(t, browser) })
}

func testByMouse(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	s := startServe(t, root, "--bench", "virtual", "--virtual-file", fast(t, t.TempDir()))
	p := s.open(browser, browserrig.View{})
	p.says("#simulated", "Simulated bench")

	// The bench.
	p.says("#new-coil", "Start the coil's folder")
	p.step("bench")
	p.says(`#steps a[href="#bench"] .word`, "ready")
	p.await("levels", `document.querySelectorAll("#bench-meters [data-peak], #bench-meters .bar, #bench-meters i").length > 0`)
	p.click(`#job-check button[type="submit"]`)
	p.await("the end of the trial sweep",
		`document.getElementById("announced").textContent === "the trial sweep is done"`)
	p.says("#job-check .outcome", "dB")

	// The coil.
	p.click("#coil-new")
	p.click(`#new-coil button[type="submit"]`)
	p.says("#new-coil .wrong", "Give the coil a name")
	p.write("#n-name", "Bridge, first winding")
	p.write("#n-dcr", "7.85k@20C 0.5%")
	p.click(`#new-coil button[type="submit"]`)
	p.says("#takes .of-coil", "Bridge, first winding")
	p.step("coil")
	p.says("#coil-name", "Bridge, first winding")
	p.write("#c-celsius", "20")
	p.click(`#coil-form button[type="submit"]`)
	p.says(`#steps a[href="#coil"] .word`, "ready")

	// Takes: bare, then what the page proposes, then one done again.
	p.step("takes")
	p.click("#go")
	p.says("#stage-state", "Kept")
	p.await("the response of the take", `document.querySelector("#sweep-figure svg")`)
	p.click(`#take-form input[name="kind"][value="c"]`)
	p.write("#t-value", "470p 1%")
	p.says("#go", "c470")
	p.click("#go")
	p.says("#stage-state", "Kept")
	p.says("#take-list", "c470")

	// The result: what the simulated coil is made of.
	p.step("result")
	p.says("#result-head .numbers", "2.4")
	p.await("the response", `document.querySelector('#result [data-part="fit"] svg')`)
	truth := virtual.Default().Coil.Inductance.SI
	var result struct {
		Inductance struct{ Value, U95 float64 } `json:"inductance_h"`
	}
	readJSON(t, filepath.Join(root, "bridge-first-winding", "result.json"), &result)
	if l := result.Inductance; !(l.U95 > 0 && l.Value-l.U95 < truth && truth < l.Value+l.U95) {
		t.Errorf("L is %g ± %g H, the coil's is %g H", l.Value, l.U95, truth)
	}

	// The guitar: turning a knob moves the numbers.
	p.step("guitar")
	p.await("numbers", `document.querySelector("#guitar-numbers").textContent.length > 10 && document.querySelector("#guitar-figure svg")`)
	before := p.text("#guitar-numbers")
	p.Key("#g-cable-length", kb.Home)
	p.await("other numbers", fmt.Sprintf(
		`document.querySelector("#guitar-numbers").textContent.replaceAll("\u00a0", " ") !== %q`, before))

	p.await("all positions of the knobs", `document.querySelectorAll("#guitar-table tr").length > 8`)
	p.click("#guitar-make")
	p.await("the link to the prediction", `document.querySelector("#guitar-page a")`)
	prediction := browserrig.Open(t, browser,
		browserrig.JS[string](p.Tab, `document.querySelector("#guitar-page a").href`), browserrig.View{})
	if !prediction.Visible("svg .curve") {
		t.Error("the prediction shows no curve")
	}
	plays(prediction)

	// A second coil, measured by the command line, and the comparison.
	second := filepath.Join(root, "neck")
	mustRun(t, "new", second, "--name", "Neck", "--dcr", "7.85k@20C 0.5%")
	copyTakes(t, filepath.Join(root, "bridge-first-winding"), second)
	mustRun(t, "fit", second)
	p.Do(chromedp.Reload())
	p.await("the page again", `document.querySelectorAll("#coil-choice option").length >= 2`)
	p.step("compare")
	p.click("#many-all")
	p.click("#many-compare")
	p.says("#many-answer", "Neck")
	p.click("#many-run")
	p.says("#many-answer h2", "Batch")
	p.says("#many-answer td, #many-answer th", "coil to coil")
	p.shoot("batch")
	p.click("#many-compare")
	p.says("#many-answer h2", "Comparison")
	silent := browserrig.JS[string](p.Tab, `document.querySelector("#many-answer a").href`)
	p.click("#many-form [name=hear]")
	p.click("#many-compare")
	p.await("a page that plays", fmt.Sprintf(`(document.querySelector("#many-answer a")?.href ?? %[1]q) !== %[1]q`, silent))
	plays(browserrig.Open(t, browser, browserrig.JS[string](p.Tab, `document.querySelector("#many-answer a").href`),
		browserrig.View{}))

	// The report opens in an origin of its own.
	p.step("report")
	p.click("#report-write")
	p.await("the link", `document.querySelector("#report-link a")`)
	link := browserrig.JS[string](p.Tab, `document.querySelector("#report-link a").href`)
	report := browserrig.Open(t, browser, link, browserrig.View{})
	if got := browserrig.JS[string](report, `document.title + " " + window.origin`); !strings.Contains(got, "null") {
		t.Errorf("the report is %q", got)
	}
	if !report.Visible("#magnitude-w .curve") {
		t.Error("the report shows no curve")
	}
	report.Silent()

	// Every step fits a phone, and can be used by everybody.
	p.quiet(s)
	steps := []string{"bench", "coil", "takes", "result", "guitar", "compare", "report"}
	for _, step := range steps {
		p.step(step)
		p.await(step, fmt.Sprintf(`!document.getElementById(%q).hidden`, step))
		p.shoot(step)
		p.Show(browserrig.View{Width: 390, Height: 800})
		p.Fits("step "+step, 390)
		p.shoot(step + "-phone")
		p.Show(browserrig.View{Dark: true})
		p.shoot(step + "-dark")
		p.Show(browserrig.View{})
	}
	p.quiet(s)
	for _, step := range steps {
		p.step(step)
		browserrig.JS[any](p.Tab, `document.querySelectorAll("details").forEach(d => d.open = true); null`)
		p.await("all parts of "+step, fmt.Sprintf(
			`![...document.querySelectorAll("#%s [data-part]")].some(n => !n.innerHTML)`, step))
		p.shoot(step + "-open")
		p.Accessible("", 15)
		p.Show(browserrig.View{Dark: true})
		p.Accessible(`runOnly: ["color-contrast"], `, 1)
		p.Show(browserrig.View{})
	}
}

// plays wants that a page that was made plays its sounds, without a complaint.
func plays(page *browserrig.Tab) {
	page.T.Helper()
	page.Do(chromedp.Click(chromedp.CSS("[data-do=play]")))
	if !browserrig.JS[bool](page, `(async () => { for (let i = 0; i < 500; i++) {
		if (document.querySelector("[data-do=play]").textContent === "Stop") return true;
		await new Promise(r => setTimeout(r, 20)); } return false; })()`) {
		page.T.Error("nothing is played")
	}
	page.Silent()
}

// quiet wants that the page complains of nothing and asks nobody but the
// program. That there is nothing to draw or to account for is an answer of the
// program which browsers log, as are those with a status that was provoked.
func (p benchTab) quiet(s *served, provoked ...string) {
	p.T.Helper()
	provoked = append(provoked, "404", "422")
	for _, noise := range p.Noise(s.base()) {
		if strings.Contains(noise, "Failed to load resource") &&
			slices.ContainsFunc(provoked, func(status string) bool { return strings.Contains(noise, status) }) {
			continue
		}
		p.T.Error(noise)
	}
}

// onPhone shows the page on a dark phone, whose screen it fits.
func (p benchTab) onPhone(name, what string) {
	p.T.Helper()
	p.Show(browserrig.View{Width: 390, Height: 800, Dark: true})
	p.shoot(name + "-phone")
	p.Fits(what, 390)
}

// shoot keeps a picture of the page where COILSWEEP_SHOTS names a folder, to
// be looked at.
func (p benchTab) shoot(name string) {
	p.T.Helper()
	dir := os.Getenv("COILSWEEP_SHOTS")
	if dir == "" {
		return
	}
	picture, err := chromedp.Run(p.Ctx, chromedp.FullScreenshot(100))
	if err != nil {
		p.T.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, name+".png"), picture, 0o644); err != nil {
		p.T.Fatal(err)
	}
}

func testByKeyboard(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	s := startServe(t, root, "--bench", "virtual", "--virtual-file", fast(t, t.TempDir()))
	p := s.open(browser, browserrig.View{})
	p.says(`#steps a[href="#bench"] .word`, "ready")
	p.tabTo("#coil-new")
	p.press(kb.Enter)
	p.tabTo("#n-name")
	p.press("Neck")
	p.tabTo("#n-dcr")
	p.press("7.85k@20C 0.5%" + kb.Enter)
	p.says("#takes .of-coil", "Neck")
	p.await("the takes", `!document.getElementById("takes").hidden && !document.querySelector("#go").disabled`)
	p.press(" ")
	p.says("#stage-state", "Kept")
	// The page proposes what to connect next; the field is reached all the same.
	p.tabTo("#take-next button")
	p.press(kb.Enter)
	p.await("what was proposed", `document.querySelector('#take-form input[value="c"]').checked && document.getElementById("t-value").value`)
	p.tabTo("#t-value")
	p.press("1n 1%") // the tab key has selected what was there
	p.says("#go", "c1n")
	p.tabTo("#go")
	p.press(" ")
	p.says("#take-list", "c1n")
	p.tabTo(`#steps a[href="#result"]`)
	p.press(kb.Enter)
	p.says("#result-head .numbers", "2.4")
	p.tabTo(`#steps a[href="#report"]`)
	p.press(kb.Enter)
	p.tabTo("#report-write")
	p.press(kb.Enter)
	p.await("the link", `document.querySelector("#report-link a")`)
	if _, err := os.Stat(filepath.Join(root, "neck", "report.html")); err != nil {
		t.Error(err)
	}
	p.quiet(s)
}

// testTwoTabs: both tabs show the same, a take outlives the tab it was started
// in, and either can stop it.
func testTwoTabs(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	mustRun(t, "new", filepath.Join(root, "bridge"))
	s := startServe(t, root, "--bench", "virtual") // in real time
	a, b := s.open(browser, browserrig.View{}), s.open(browser, browserrig.View{})
	for _, p := range []benchTab{a, b} {
		p.step("takes")
	}
	a.write("#t-take", "first")
	browserrig.JS[any](a.Tab, `document.getElementById("take-more").open = true; null`)
	a.write("#t-repeats", "3") // long enough to be seen by a slow machine
	a.click("#go")
	b.says("#go", "Stop")
	b.says("#stage-take", "first")
	a.Close()
	b.says("#stage-state", "Kept")
	b.says("#take-list", "first")

	c := s.open(browser, browserrig.View{})
	c.step("takes")
	c.says("#take-list", "first")
	b.click(`#take-form input[name="kind"][value="bare"]`)
	b.write("#t-take", "second")
	b.click("#go")
	c.says("#stage-take", "second")
	c.awaitRecording(filepath.Join(root, "bridge", "takes", "second.partial", "capture.wav"), 48000*4)
	c.press(kb.Escape)
	b.says("#stage-state", "Stopped")
	c.says("#stage-state", "Stopped")
	if kept, err := filepath.Glob(filepath.Join(root, "bridge", "takes", "second.partial*",
		"capture.wav")); err != nil || len(kept) != 1 {
		t.Errorf("of the stopped take %v is kept (%v)", kept, err)
	}

	// Both edit the coil: the later one is told.
	for _, p := range []benchTab{b, c} {
		p.step("coil")
	}
	c.write("#c-wire", "0.063 mm")
	b.write("#c-wire", "0.05 mm")
	c.click(`#coil-form button[type="submit"]`)
	b.says("#coil-form .elsewhere", "")
	b.await("a word that it was changed elsewhere",
		`document.querySelector("#coil-form .elsewhere").textContent !== ""`)
	text, err := os.ReadFile(filepath.Join(root, "bridge", "coil.toml"))
	if err != nil || !strings.Contains(string(text), "0.063 mm") {
		t.Errorf("coil.toml: %v\n%s", err, text)
	}
	b.quiet(s)
	c.quiet(s)
}

// testKilled: the program dies in mid-take; started again it finds what was
// recorded, and makes a take of it.
func testKilled(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	mustRun(t, "new", filepath.Join(root, "bridge"))
	start := func(listen string) (*exec.Cmd, *served) {
		out, said := &heard{}, &heard{}
		cmd := exec.Command("coilsweep", "serve", root, "--bench", "virtual", "--listen", listen)
		cmd.Stdout, cmd.Stderr = out, said
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
		return cmd, &served{t: t, url: awaitAddress(t, out, said)}
	}
	first, s := start("127.0.0.1:0")
	p := s.open(browser, browserrig.View{})
	p.step("takes")
	p.write("#t-take", "broken")
	p.click("#go")
	// One sweep of 2.8 s after half a second of silence, two channels of 32 bit.
	p.awaitRecording(filepath.Join(root, "bridge", "takes", "broken.partial", "capture.wav"), 4*48000*8)
	first.Process.Kill()
	first.Wait()
	p.await("word of the lost line", `!document.getElementById("lost").hidden`)

	_, again := start(strings.TrimSuffix(strings.TrimPrefix(s.base(), "http://"), "/"))
	p.await("the question for the key", `!document.getElementById("locked").hidden`)
	p.write("#locked-key", again.url)
	p.press(kb.Enter)
	p.says("#take-partials", "broken")
	p.click("#take-partials button")
	p.says("#take-list", "broken")
	if _, err := os.Stat(filepath.Join(root, "bridge", "takes", "broken", "take.toml")); err != nil {
		t.Error(err)
	}
}

// testDropped: a recording that was made elsewhere is dropped on the page with
// its stimulus, and again to replace the take that was made of it.
func testDropped(t *testing.T, browser context.Context) {
	t.Parallel()
	elsewhere, root := t.TempDir(), t.TempDir()
	stimulus := filepath.Join(elsewhere, "short.toml")
	mustRun(t, "stimulus", filepath.Join(elsewhere, "short.wav"), "--duration", "0.35s", "--repeats", "2")
	mustRun(t, "new", filepath.Join(elsewhere, "coil"))
	mustRun(t, "measure", filepath.Join(elsewhere, "coil"), "--take", "c470", "--added-c", "470p 1%", "--bench",
		"virtual", "--stimulus", stimulus)
	recording := filepath.Join(elsewhere, "coil", "takes", "c470", "capture.wav")
	mustRun(t, "new", filepath.Join(root, "bridge"))
	s := startServe(t, root, "--bench", "virtual", "--virtual-file", fast(t, t.TempDir()))
	p := s.open(browser, browserrig.View{})
	p.step("takes")
	p.click(`#take-form input[name="kind"][value="c"]`)
	p.write("#t-value", "470p 1%")
	p.says("#go", "c470")
	p.drop("#drop", recording, stimulus)
	p.says("#import-chosen", "capture.wav, stimulus short.toml")
	p.press(kb.Enter) // the button has the focus
	p.says("#import-form .outcome", "Take c470 is kept")
	p.says("#take-list", "470p 1%")

	p.click(`#take-list button[aria-label="Redo take c470"]`)
	p.drop("#takes", recording, stimulus)
	p.says("#import-chosen", "capture.wav, stimulus short.toml")
	p.click(`#import-form button[type="submit"]`)
	p.says("#import-form .outcome", "Take c470 is kept")
	p.says("#take-aside", "Set aside: 1")
	p.says("#take-list", "470p 1%")

	// What is no recording is refused, and nothing is lost.
	p.write("#t-take", "other")
	p.drop("#drop", stimulus)
	p.drop("#drop", filepath.Join(root, "bridge", "coil.toml"))
	p.click(`#import-form button[type="submit"]`)
	p.says("#import-form .wrong", "Choose a recording first")
	p.drop("#drop", recording, filepath.Join(root, "bridge", "coil.toml"))
	p.click(`#import-form button[type="submit"]`)
	p.says("#import-form .wrong", "coil.toml")
	if left, err := filepath.Glob(filepath.Join(root, "bridge", "takes", "*")); err != nil || len(left) != 2 {
		t.Errorf("the coil has %v (%v)", left, err)
	}
	p.quiet(s)
}

// drop drops files on an element as the desktop does.
func (p benchTab) drop(selector string, files ...string) {
	p.T.Helper()
	p.usable(selector)
	place := browserrig.JS[struct{ X, Y float64 }](p.Tab, fmt.Sprintf(`(n => { n.scrollIntoView({block: "center", behavior: "instant"});
		const r = n.getBoundingClientRect(); return {X: r.left + r.width / 2, Y: Math.min(r.top + r.height / 2, innerHeight - 10)}; })(document.querySelector(%q))`, selector))
	for _, kind := range []input.DispatchDragEventType{input.DispatchDragEventTypeDragEnter,
		input.DispatchDragEventTypeDragOver, input.DispatchDragEventTypeDrop} {
		browserrig.Call(p.Tab, input.DispatchDragEvent,
			input.DispatchDragEventParams{Type: kind, X: place.X, Y: place.Y,
				Data: &input.DragData{Items: []*input.DragDataItem{}, Files: files, DragOperationsMask: 1}})
	}
}

// testKey: without the key of this start the page shows nothing and says what
// to do.
func testKey(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	mustRun(t, "new", filepath.Join(root, "secret"))
	s := startServe(t, root, "--bench", "virtual")
	p := benchTab{browserrig.Open(t, browser, s.base()+"#key=wrong", browserrig.View{})}
	p.says("#locked", "Open the address")
	if text := browserrig.JS[string](p.Tab, `document.body.innerText`); strings.Contains(text, "secret") {
		t.Errorf("the page shows:\n%s", text)
	}
	p.Accessible("", 10)
	p.write("#locked-key", s.url)
	p.press(kb.Enter)
	p.await("the coil", `[...document.querySelectorAll("#coil-choice option")].some(o => o.textContent.includes("secret"))`)
	if at := browserrig.JS[string](p.Tab, `location.href`); strings.Contains(at, "key=") {
		t.Errorf("the key stays in the address: %s", at)
	}

	// That a file is not served has nothing to do with the key.
	own := filepath.Join(root, "simulated-bench")
	if err := errors.Join(os.Mkdir(own, 0o777),
		os.Symlink(filepath.Join(root, "secret", "coil.toml"), filepath.Join(own, "bench.toml"))); err != nil {
		t.Fatal(err)
	}
	p.Do(chromedp.Reload())
	p.says("#announced", "bench.toml is no plain file")
	p.await("the page unlocked", `document.getElementById("locked").hidden`)
}

// testNames: whatever a coil is called, the page stays whole.
func testNames(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	names := []string{`<img src=x onerror="document.title='harmed'">`, `"quoted" & 'quoted'`, "\u202egnorw\u202c right",
		"ملف الجسر", strings.Repeat("long ", 40)}
	for i, name := range names {
		mustRun(t, "new", filepath.Join(root, fmt.Sprint("coil", i)), "--name", name)
	}
	s := startServe(t, root, "--bench", "virtual")
	p := s.open(browser, browserrig.View{Width: 390, Height: 800})
	for i := range names {
		browserrig.JS[any](p.Tab, fmt.Sprintf(
			`(s => { s.value = "coil%d"; s.dispatchEvent(new Event("change", {bubbles: true})); })(document.getElementById("coil-choice"))`, i))
		for _, step := range []string{"coil", "takes", "compare"} {
			p.step(step)
			p.Fits(fmt.Sprintf("coil %d, step %s", i, step), 390)
		}
	}
	if got := browserrig.JS[string](p.Tab,
		`document.title + document.querySelectorAll("main img[src='x']").length`); strings.Contains(got, "harmed") ||
		!strings.HasSuffix(got, "0") {
		t.Errorf("the name came alive: %s", got)
	}
	p.quiet(s)
}

func readJSON(t testing.TB, path string, into any) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err == nil {
		err = json.Unmarshal(data, into)
	}
	if err != nil {
		t.Fatal(err)
	}
}

func mustRun(t testing.TB, args ...string) {
	t.Helper()
	var said bytes.Buffer
	if status := cli.Run(context.Background(), args, nil, io.Discard, &said); status != 0 {
		t.Fatalf("coilsweep %s: status %d: %s", strings.Join(args, " "), status, said.String())
	}
}

// copyTakes gives a coil the takes of another.
func copyTakes(t *testing.T, from, to string) {
	t.Helper()
	if err := os.RemoveAll(filepath.Join(to, "takes")); err != nil {
		t.Fatal(err)
	}
	if err := os.CopyFS(filepath.Join(to, "takes"), os.DirFS(filepath.Join(from, "takes"))); err != nil {
		t.Fatal(err)
	}
}
