package main

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"coilsweep/capture"
	"coilsweep/capture/virtual"
	"coilsweep/report/browserrig"
)

// testLed: from an empty folder somebody is led to a result, with the picture and the
// cautions of each step; the first take is no louder than what the check found good.
func testLed(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	s := startServe(t, root, "--bench", "virtual", "--virtual-file", fast(t, t.TempDir()))
	p := s.open(browser, browserrig.View{Width: 1440, Height: 900})
	goOn := func(next string) {
		t.Helper()
		p.click(`#led .buttons [data-do="led"]`)
		p.says("#led-h", next)
	}
	at := func(picture, caution string) {
		t.Helper()
		p.await("the picture "+picture, fmt.Sprintf(`(n => n.complete && n.naturalWidth > 0 && n.src.endsWith(%q))(document.querySelector("#led img"))`, picture))
		p.says("#led .led-cautions", caution)
		p.shoot("led-" + p.text("#led-h")[:1])
		p.Accessible("", 15)
		p.onPhone("led-"+p.text("#led-h")[:1], "what leads")
		p.Show(browserrig.View{Width: 1024, Height: 768})
		p.Fits("what leads", 1024)
		p.shoot("led-" + p.text("#led-h")[:1] + "-tablet")
		p.Show(browserrig.View{Width: 1440, Height: 900})
	}
	p.says("#next", "Lead me through it")
	p.click(`#next [data-do="led"]`)
	p.says("#led-h", "1 of 6: Wiring")
	at("sense.svg", "Phantom power off")
	p.says("#led", "nothing has to be wired")
	goOn("2 of 6: Level check")
	at("sense.svg", "Headphones off")
	p.click(`#led [data-do="led-check"]`)
	p.says("#led", "Takes may be played at ")
	p.says("#led .led-trial", "at −30 dBFS peak")
	p.shoot("led-checked")
	p.Accessible("", 15)
	found := browserrig.JS[float64](p.Tab, `Number(/played at (\S+) dBFS/.exec(document.getElementById("led").textContent.replaceAll("\u00a0", " "))[1].replace("−", "-"))`)

	// It is left, and taken up again where it was: by another tab, after a reload.
	p.click(`#led [data-do="led-leave"]`)
	p.await("the page alone", `document.getElementById("led").hidden`)
	p.Do(chromedp.Reload())
	p.await("the page", `document.querySelector("#steps .word").textContent !== ""`)
	p.await("the page alone", `document.getElementById("led").hidden`)
	p.click(`#steps-foot [data-do="led"]`)
	p.says("#led-h", "3 of 6: Exciter")
	p.Do(chromedp.Reload())
	p.says("#led-h", "3 of 6: Exciter")
	at("placing.svg", "Strong magnets")
	p.click(`#led [data-do="live"]`)
	p.click("#live-go")
	p.says("#live-resonance", "kHz")
	p.click("#live-close")
	p.await("silence", `document.getElementById("phase").textContent === "listening"`)
	goOn("4 of 6: Nothing added")
	at("sense.svg", "Exciter cool")

	// In an empty folder the coil has to have a name first.
	p.click(`#led [data-do="new-coil"]`)
	p.write("#n-name", "Neck")
	p.press(kb.Enter)
	p.says("#takes .of-coil", "Neck")
	p.says("#led-h", "4 of 6: Nothing added")
	p.says("#go", "bare: nothing connected across the coil")
	browserrig.JS[any](p.Tab, `document.getElementById("take-more").open = true; null`)
	p.write("#t-level", "0") // louder than what the check found
	p.says("#go", "bare")
	p.click("#go")
	p.says("#stage-state", "Kept")
	p.says("#led ol", "Nothing added, done")
	folder, err := capture.OpenFolder(filepath.Join(root, "neck"))
	if err != nil {
		t.Fatal(err)
	}
	take, err := folder.ReadTake("bare")
	if level := take.Stimulus.LevelDBFS; err != nil || level > found || level > -12 {
		t.Errorf("the first take is played at %g dBFS, the check found %g good (%v)", level, found, err)
	}
	if typed := browserrig.JS[float64](p.Tab, `Number(document.getElementById("t-level").value)`); typed != take.Stimulus.LevelDBFS {
		t.Errorf("the form says %g dBFS", typed)
	}
	goOn("5 of 6: Known capacitor")
	at("sense.svg", "Coil alone")
	p.await("a capacitor", `document.querySelector('#take-form input[value="c"]').checked && document.getElementById("t-value").value`)
	p.says("#go", ", then press")
	p.click("#go")
	p.says("#stage-state", "Kept")
	p.says("#led ol", "Known capacitor, done")
	goOn("6 of 6: Result")
	at("fixture.svg", "Exciter cool")
	p.says("#led ol", "Result, done")
	var result struct {
		Inductance struct{ Value, U95 float64 } `json:"inductance_h"`
	}
	readJSON(t, filepath.Join(root, "neck", "result.json"), &result)
	truth := virtual.Default().Coil.Inductance.SI
	if l := result.Inductance; !(l.U95 > 0 && math.Abs(l.Value-truth) < l.U95) {
		t.Errorf("L is %g ± %g H, the coil's is %g H", l.Value, l.U95, truth)
	}
	p.says("#result-head .numbers", "Inductance L")
	p.click(`#led .buttons [data-do="led-leave"]`)
	p.await("the page alone", `document.getElementById("led").hidden && !document.getElementById("result").hidden`)
	p.quiet(s)
}

// testLedTakes: while who is led makes a take, and when it is in, nothing moves, and what is
// said of the take stays true.
func testLedTakes(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	views := []struct {
		coil string
		browserrig.View
	}{{"1440", browserrig.View{Width: 1440, Height: 900}}, {"1024", browserrig.View{Width: 1024, Height: 768}},
		{"768", browserrig.View{Width: 768, Height: 1024}}, {"390", browserrig.View{Width: 390, Height: 800}}}
	for _, view := range views {
		mustRun(t, "new", filepath.Join(root, view.coil))
	}
	s := startServe(t, root, "--bench", "virtual") // in the time that a real bench takes
	p := s.open(browser, browserrig.View{})
	p.says("#phase", "listening")
	for _, view := range views {
		p.Show(view.View)
		p.choose("#coil-choice", view.coil)
		p.click(`#steps-foot [data-do="led"]`)
		for _, step := range []struct{ at, head, done string }{
			{"bare", "4 of 6: Nothing added", "Nothing added, done"}, {"part", "5 of 6: Known capacitor", "Known capacitor, done"},
		} {
			p.click(`#led ol [data-step="` + step.at + `"]`)
			p.says("#led-h", step.head)
			if step.at == "part" {
				p.click(`#take-form label:has(input[value="c"])`)
				p.write("#t-value", "470p 1%")
			}
			browserrig.JS[any](p.Tab, `document.getElementById("take-more").open = true; null`)
			p.write("#t-repeats", "1")
			browserrig.JS[any](p.Tab, `document.getElementById("take-more").open = false; document.activeElement.blur(); null`)
			time.Sleep(time.Second) // what a hand has just done may move things
			browserrig.JS[any](p.Tab, shifts)
			p.press(" ")
			p.await("the take under way", `document.getElementById("stage").dataset.state === "working"`)
			browserrig.JS[any](p.Tab, `window.scrollTo(0, 0); null`) // the panel is read meanwhile
			p.await("the number of the sweep, or on a busy machine the take", `
				/1\ssweep: U95\s0/.test(document.querySelector("#stage-sweep .known")?.textContent) ||
				document.getElementById("stage-state").textContent.includes("Kept")`)
			p.shoot("led-takes-" + step.at + "-" + view.coil)
			p.says("#stage-state", "Kept")
			p.says("#led ol", step.done)
			p.await("the numbers of the fit", `!document.getElementById("stage-result").hidden`)
			time.Sleep(500 * time.Millisecond)
			shifted := browserrig.JS[float64](p.Tab, `shifted`)
			told := fmt.Sprintf("%s, %s: the layout shifts by %.4f: %s", view.coil, step.at, shifted,
				strings.Join(browserrig.JS[[]string](p.Tab, `moved`), "\n"))
			if t.Log(told); shifted >= 0.02 {
				t.Error(told)
			}
			if said := p.text("#led .led-body"); strings.Contains(said, " 0 dBFS") {
				t.Errorf("after the take what leads says %q", said)
			}
			p.shoot("led-takes-" + step.at + "-" + view.coil + "-kept")
		}
	}
	p.quiet(s)
}
