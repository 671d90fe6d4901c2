package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"coilsweep/fit"
	"coilsweep/report/browserrig"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// testModules looks at what the page's modules work out by themselves, one call
// a line: m is the module. What is wanted is JSON.
func testModules(t *testing.T, browser context.Context) {
	t.Parallel()
	s := startServe(t, t.TempDir(), "--bench", "virtual")
	p := s.open(browser, browserrig.View{})
	for _, c := range []struct{ module, call, want string }{
		// A stream of events (WHATWG HTML, 9.2.6), whole and in pieces.
		{"eventstream", `new m.EventParser().feed("event: a\ndata: 1\n\nevent: b\ndata: 2\ndata:3\n\n: alive\n\n")`,
			`[{"topic":"a","data":"1"},{"topic":"b","data":"2\n3"}]`},
		{"eventstream", `(text => [...Array(text.length).keys()].every(at => { const p = new m.EventParser();
			return JSON.stringify([...p.feed(text.slice(0, at)), ...p.feed(text.slice(at))]) ===
				JSON.stringify([{topic: "a", data: "ä ü"}, {topic: "message", data: "x"}]);
			}))("event: a\r\ndata: ä ü\r\n\r\ndata: x\r\n\r\n")`, `true`},
		{"eventstream", `new m.EventParser().feed("event: a\n\ndata: 1\n")`, `[]`},

		{"meters", `[-72, -36, 0, 6, -100, null, NaN].map(m.share)`, `[0,0.5,1,1,0,0,0]`},
		{"meters", `[[-0.05], [-0.05, true, false], [-2, true], [-20, true], [-50, true], [-50, true, false], [-60], [-30], [null]]
			.map(of => m.levelWords(...of))`,
			`["clips: lower the gain","clipped: stop now","close to clipping","good","low: raise the gain",` +
				`"the first sweep comes in","quiet, as it should be","something is heard","silence"]`},
		// The highest peak stays for 1.5 s, then falls by 24 dB a second.
		{"meters", `(h => [[-10, 0], [-40, 1500], [-40, 2000], [-15, 2100], [-40, 9000]].map(at => h.take(...at)))(new m.Hold())`,
			`[-10,-10,-22,-15,-40]`},

		{"takes", `m.stageOf({line: "lost", engine: {}}, {}).word`, `"Disconnected"`},
		{"takes", `m.stageOf({line: "lost", closing: true, engine: {}}, {}).text`,
			`"A take that was running was stopped; what was recorded is kept."`},
		{"takes", `[true, false].map(never => m.stageOf({line: "open", engine: {phase: "lost", never}}, {}).word)`,
			`["No device","Device lost"]`},
		{"takes", `m.stageOf({line: "open", engine: {phase: "working", kind: "take", take: "c470"},
			progress: {repeat: 2, repeats: 4}}, {working: true})`, `{"state":"working","word":"Sweep 2 of 4","take":"c470","text":"Leave coil and exciter alone."}`},
		{"takes", `m.stageOf({line: "open", engine: {phase: "lost", kind: "take", job: "take c470 of coil", take: "c470"}},
			{working: true}).word`, `"Waiting"`},
		{"takes", `m.stageOf({line: "open", engine: {}, coilID: "a",
			ended: {coil: "a", kind: "take", outcome: "unfit", take: "x", text: "y"}}, {news: true}).word`, `"Not usable"`},

		// A dialog that was answered tells late that it has closed, when it is open again.
		{"sound", `import("/state.js").then(async ({state}) => { state.bench = {kind: "soundcard"};
			const press = value => document.querySelector("#before-sound button[value=" + value + "]").click();
			const first = m.mayStart(); press("no"); const second = m.mayStart(); await first; await new Promise(setTimeout);
			press("go"); return [await first, await second, await m.mayStart()]; })`, `[false,true,true]`},

		// Of calls that come while one runs the last one counts.
		{"dom", `(async () => { const seen = []; const f = m.oneAtATime(async x => { await null; seen.push(x); });
			f(1); f(2); await f(3); await f(4); return seen; })()`, `[1,3,4]`},
	} {
		call := fmt.Sprintf(`import("/%s.js").then(async m => JSON.stringify(await (%s)))`, c.module, c.call)
		if got := browserrig.JS[string](p.Tab, call); strings.ReplaceAll(got, "\u00a0", " ") != c.want {
			t.Errorf("%s: %s\n is   %s\n want %s", c.module, c.call, got, c.want)
		}
	}
	p.quiet(s)
}

// testParts: what the program writes is shown as it writes it, in the numbers of the
// reports, and a part that is written anew leaves alone what somebody does there.
func testParts(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	mustRun(t, "new", filepath.Join(root, "a"), "--name", "Älter <b>", "--dcr", "7.85k@20C 0.5%")
	for take, options := range map[string][]string{"bare": nil, "c470": {"--added-c", "470p 1%"}} {
		mustRun(t, append([]string{"measure", filepath.Join(root, "a"), "--take", take, "--bench", "virtual",
			"--duration", "0.35s", "--repeats", "2", "--fixture-c", "65p 5%", "--fixture-r", "1M 1%"}, options...)...)
	}
	mustRun(t, "new", filepath.Join(root, "b"))
	mustRun(t, "fit", filepath.Join(root, "a"))
	s := startServe(t, root, "--bench", "virtual", "--virtual-file", fast(t, t.TempDir()))
	p := s.open(browser, browserrig.View{})
	p.step("result")
	var result fit.Result
	readJSON(t, filepath.Join(root, "a", "result.json"), &result)
	for _, number := range words.Numbers(result) {
		value, spread := notation.Apart(number.Quantity, number.Unit)
		p.says("#result-head .numbers b", value)
		p.says("#result-head .numbers span", spread)
	}
	p.says("#coil-choice option, #result .of-coil", "Älter <b>")

	// A choice and the focus outlive what the program writes anew.
	p.step("compare")
	p.click(`#many-coils input[value="a"]`)
	browserrig.JS[any](p.Tab, `window.box = document.activeElement; null`)
	anew := []byte("schema = \"coilsweep.coil/1\"\nname = \"Written anew\"\n")
	if err := os.WriteFile(filepath.Join(root, "b", "coil.toml"), anew, 0o666); err != nil {
		t.Fatal(err)
	}
	browserrig.JS[any](p.Tab, `import("/state.js").then(m => m.refresh.coils()).then(() => null)`)
	p.says("#many-coils", "Written anew")
	if !browserrig.JS[bool](p.Tab, `box.isConnected && box.checked && document.activeElement === box`) {
		t.Error("the box that was ticked is another one, or lost the focus")
	}

	// So does what is unfolded, and a form that somebody types into.
	p.step("takes")
	p.click(`#take-list button[aria-label="Set aside take c470"]`)
	p.says("#take-aside", "Set aside: 1")
	p.click("#take-aside summary")
	p.write("#t-take", "mine")
	p.click(`#take-list button[aria-label="Set aside take bare"]`)
	p.says("#take-aside", "Set aside: 2")
	p.says("#take-aside details[open] li", "bare.aside")
	if got := browserrig.JS[string](p.Tab, `document.getElementById("t-take").value`); got != "mine" {
		t.Errorf("the name that was typed is now %q", got)
	}
	p.says("#measure-line", "coilsweep measure a --take mine")
	p.Do(chromedp.Reload())
	p.quiet(s)
}
