package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"coilsweep/capture"
	"coilsweep/cmd/coilsweep/internal/web/held"
	"coilsweep/report/browserrig"
)

// TestStagePage looks at what is seen from afar while a take runs.
func TestStagePage(t *testing.T) {
	t.Parallel()
	browser := browserrig.Start(t, browserLife)
	t.Run("a whole take", func(t *testing.T) { testStage(t, browser) })
	t.Run("led", func(t *testing.T) { testLed(t, browser) })
	t.Run("led takes", func(t *testing.T) { testLedTakes(t, browser) })
}

// TestTakeIsReadOnce: what was read and estimated of a take to compare it with the others is
// not read again for the fit.
func TestTakeIsReadOnce(t *testing.T) {
	t.Parallel()
	coil := filepath.Join(t.TempDir(), "a")
	mustRun(t, "new", coil)
	for _, c := range []string{"220", "470"} {
		mustRun(t, "measure", coil, "--take", "c"+c, "--added-c", c+"p 1%", "--bench", "virtual", "--duration", "0.35s",
			"--repeats", "2")
	}
	folder, err := capture.OpenFolder(coil)
	if err != nil {
		t.Fatal(err)
	}
	coils := held.New(2, "test")
	if said, err := coils.Contradictions(t.Context(), folder, "c470"); err != nil || said != nil {
		t.Fatalf("%v, %v", said, err)
	}
	for _, name := range []string{"c220", "c470"} {
		if err := os.Remove(filepath.Join(folder.TakeDir(name), capture.AudioFile)); err != nil {
			t.Fatal(err)
		}
	}
	e, err := coils.Get(t.Context(), coil)
	if err != nil || len(e.LeftOut) > 0 || len(e.Result.Takes) != 2 {
		t.Errorf("the fit reads the takes again: %+v, %v", e, err)
	}
}

// shifts has the page add up by how much its layout shifts without anybody's doing (Layout
// Instability, W3C: the whole of it, not the worst five seconds), and name what moved.
const shifts = `window.shifted = 0; window.moved = [];
	window.watching ??= new PerformanceObserver(list => list.getEntries().forEach(e => { if (!e.hadRecentInput) {
		shifted += e.value;
		moved.push(e.value.toFixed(4) + " " + e.sources.map(s => { const n = s.node;
			return n && (n.id || n.className || n.parentNode?.id || n.parentNode?.className || n.localName) + ":" +
				Math.round(s.previousRect.top) + ">" + Math.round(s.currentRect.top); }));
	} })); watching.observe({type: "layout-shift"}); null`

// cut lists what of the stage is cut off, lies outside of the screen or on something else.
const cut = `(() => {
	const out = [], shown = n => n.getClientRects().length && getComputedStyle(n).visibility === "visible";
	for (const n of document.querySelectorAll("#stage *, header *, #take-form *")) {
		if (!shown(n) || n.closest("svg, .track, .unseen, select, .lamp-place")) continue;
		const r = n.getBoundingClientRect(), style = getComputedStyle(n), name = n.id || n.className || n.localName;
		if (r.right > innerWidth + 1 || r.left < -1) out.push(name + " is outside");
		const main = n.closest("#stage-main")?.getBoundingClientRect();
		if (main && r.right > main.right) out.push(name + " leaves the stage");
		if (style.overflowX !== "visible" && n.localName !== "input" && n.scrollWidth > n.clientWidth + 1) out.push(name + " is cut");
		if (style.overflowY === "hidden" && n.scrollHeight > n.clientHeight + 1) out.push(name + " is cut below");
	}
	const marks = [...document.querySelectorAll(".meter-scale span")].filter(shown).map(n => n.getBoundingClientRect());
	marks.forEach((a, i) => { if (marks.slice(0, i).some(b => a.top === b.top && a.left < b.right && b.left < a.right))
		out.push("two marks of the scale lie on each other"); });
	return out.join("; "); })()`

// largest is the size of the largest letters that are shown, in px, but for the numbers
// that are measured; "none" while these are not there.
const largest = `[Math.max(...[...document.querySelectorAll("main *")].filter(n => n.getClientRects().length &&
	!n.closest(".stage-digits, svg") && [...n.childNodes].some(c => c.nodeType === 3 && c.data.trim()))
	.map(n => parseFloat(getComputedStyle(n).fontSize))),
	parseFloat(getComputedStyle(document.querySelector("#stage-sweep .digits b")).fontSize)]`

// testStage: the largest thing is what is measured, after each sweep, with a curve before
// that of an earlier take; and through a whole take nothing moves.
func testStage(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	coil := filepath.Join(root, "a")
	mustRun(t, "new", coil, "--name", "Neck", "--dcr", "7.85k@20C 0.5%")
	other := filepath.Join(root, "b")
	mustRun(t, "new", other, "--name", "Bridge")
	mustRun(t, "measure", other, "--take", "c470", "--added-c", "470p 1%", "--bench", "virtual", "--duration", "0.35s",
		"--repeats", "2")
	mustRun(t, "fit", other)
	s := startServe(t, root, "--bench", "virtual") // in the time that a real bench takes
	p := s.open(browser, browserrig.View{Width: 1440, Height: 900})
	p.says("#phase", "listening")
	p.step("takes")
	browserrig.JS[any](p.Tab, `document.getElementById("take-more").open = true; null`)
	p.write("#t-until", "0.002%")
	for i, view := range []struct {
		name string
		browserrig.View
	}{
		{"1440", browserrig.View{Width: 1440, Height: 900}}, {"1024", browserrig.View{Width: 1024, Height: 768}},
		{"768", browserrig.View{Width: 768, Height: 1024}}, {"390", browserrig.View{Width: 390, Height: 800}},
		{"200-percent", browserrig.View{Width: 720, Height: 450}},
	} {
		p.Show(view.View)
		browserrig.JS[any](p.Tab, `document.getElementById("take-more").open = true; null`)
		p.write("#t-repeats", "2")
		browserrig.JS[any](p.Tab, `document.getElementById("take-more").open = false; document.activeElement.blur(); window.scrollTo(0, 0); null`)
		p.says("#go", "bare")
		p.shoot("stage-ready-" + view.name)
		time.Sleep(time.Second) // what a hand has just done may move things
		browserrig.JS[any](p.Tab, shifts)
		p.press(" ")
		p.says("#stage-sweep .digits", "kHz ±")
		p.says("#stage-sweep .known", "1 sweep: U95 0.")
		if i == 0 {
			p.says("#stage-sweep .known", "%, until 0.002")
		} else {
			p.says("#sweep-caption", "in grey bare")
			p.await("a curve before another", `document.querySelector("#sweep-figure .behind") && document.querySelector("#sweep-figure .curve")`)
		}
		if sizes := browserrig.JS[[]float64](p.Tab, largest); !(sizes[1] > sizes[0]) {
			t.Errorf("%s: the resonance has %g px, something else %g", view.name, sizes[1], sizes[0])
		}
		if what := browserrig.JS[string](p.Tab, cut); what != "" {
			t.Errorf("%s: %s", view.name, what)
		}
		p.Fits("the stage", float64(view.Width))
		p.shoot("stage-" + view.name)
		dark := view.View
		dark.Dark = true
		p.says("#stage-state", "Kept")
		p.await("the numbers of the fit", `!document.getElementById("stage-result").hidden &&
			document.getElementById("word-result").textContent.includes("unknown")`)
		time.Sleep(500 * time.Millisecond)
		shifted := browserrig.JS[float64](p.Tab, `shifted`)
		told := fmt.Sprintf("%s: the layout shifts by %.4f: %s", view.name, shifted,
			strings.Join(browserrig.JS[[]string](p.Tab, `moved`), "; "))
		if t.Log(told); shifted >= 0.02 {
			t.Error(told)
		}
		if what := browserrig.JS[string](p.Tab, cut); what != "" {
			t.Errorf("%s, kept: %s", view.name, what)
		}
		p.Accessible("", 15)
		p.shoot("stage-kept-" + view.name)
		p.Show(dark)
		p.shoot("stage-dark-" + view.name)
		p.Accessible(`runOnly: ["color-contrast"], `, 1)
	}

	// Another coil behind it, or nothing.
	p.choose("#sweep-behind", "b")
	p.says("#sweep-caption", "in grey Bridge")
	p.choose("#sweep-behind", "none")
	p.await("the curve alone", `document.querySelector("#sweep-figure .curve") && !document.querySelector("#sweep-figure .behind")`)

	// A take that clips says so, and what to do, without moving anything or keeping an
	// earlier number.
	for name, view := range map[string]browserrig.View{"1440": {Width: 1440, Height: 900}, "390": {Width: 390, Height: 800, Dark: true}} {
		p.Show(view)
		browserrig.JS[any](p.Tab, `document.getElementById("take-more").open = true; null`)
		p.write("#t-repeats", "2")
		p.write("#t-level", "0")
		browserrig.JS[any](p.Tab, `document.getElementById("take-more").open = false; document.activeElement.blur(); window.scrollTo(0, 0); null`)
		p.says("#go", "bare")
		time.Sleep(time.Second)
		browserrig.JS[any](p.Tab, shifts)
		p.press(" ")
		p.says("#stage-sweep .known", "The input was overdriven")
		p.says("#stage-state", "Not usable")
		p.says("#stage-advice", "lower")
		time.Sleep(time.Second)
		if number := p.text("#stage-sweep .digits"); strings.Contains(number, "kHz") {
			t.Errorf("a take that is not usable resonates at %s", number)
		}
		if shifted := browserrig.JS[float64](p.Tab, `shifted`); shifted >= 0.02 {
			t.Errorf("not usable, %s: the layout shifts by %.4f: %s", name, shifted,
				strings.Join(browserrig.JS[[]string](p.Tab, `moved`), "\n"))
		}
		if what := browserrig.JS[string](p.Tab, cut); what != "" {
			t.Errorf("not usable, %s: %s", name, what)
		}
		p.shoot("stage-unfit-" + name)
	}
	p.quiet(s)
}
