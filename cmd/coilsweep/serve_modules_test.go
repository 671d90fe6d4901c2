package main

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/browserrig"
	"coilsweep/report/notation"
)

// testModules looks at what the page's modules work out by themselves, one call
// a line: m is the module. What is wanted is JSON.
func testModules(t *testing.T, browser context.Context) {
	t.Parallel()
	s := startServe(t, t.TempDir(), "--bench", "virtual")
	p := s.open(browser, browserrig.View{})
	for _, c := range []struct{ module, call, want string }{
		// A stream of events (WHATWG HTML, 9.2.6), whole and in pieces.
		{"eventstream", `new m.EventParser().feed("event: a\ndata: 1\n\nevent: b\ndata: 2\ndata:3\n\n: alive\n\n")`, `[{"topic":"a","data":"1"},{"topic":"b","data":"2\n3"}]`},
		{"eventstream", `(text => [...Array(text.length).keys()].every(at => { const p = new m.EventParser();
			return JSON.stringify([...p.feed(text.slice(0, at)), ...p.feed(text.slice(at))]) === JSON.stringify([{topic: "a", data: "ä ü"}, {topic: "message", data: "x"}]); }))("event: a\r\ndata: ä ü\r\n\r\ndata: x\r\n\r\n")`, `true`},
		{"eventstream", `new m.EventParser().feed("event: a\n\ndata: 1\n")`, `[]`},

		{"names", `m.proposeTake({kind: "bare"}, [])`, `"bare"`},
		{"names", `m.proposeTake({kind: "bare"}, ["Bare", "bare-2"])`, `"bare-3"`},
		{"names", `["470p 1%", "2.2n 5%", "2n2", "1nF", "0.47n", "4700", "many"].map(v => m.proposeTake({kind: "c", value: v}))`, `["c470","c2n2","c2n2","c1n","c0n47","c4700",""]`},
		{"names", `["100k 1%", "4.7 M", "1M5", "22 ohm"].map(v => m.proposeTake({kind: "r", value: v}))`, `["r100k","r4M7","r1M5","r22"]`},
		{"names", `["Bridge, first winding", "Hälse & Brücken", "  ", "ملف", "../../etc", "x".repeat(50)].map(m.proposeFolder)`, `["bridge-first-winding","halse-brucken","coil","coil","etc","` + strings.Repeat("x", 40) + `"]`},
		{"names", `m.commandLine("measure", "a b", {take: "c470", "added-c": "470p 1%", level: "-12", redo: true, after: ""})`, `"coilsweep measure \"a b\" --take c470 --added-c \"470p 1%\" --level=-12 --redo"`},
		{"names", `m.commandLine("fit", ["-x", "$(rm -r ~)", "it's \"$x\""], {})`, `"coilsweep fit ./-x '$(rm -r ~)' 'it'\\''s \"$x\"'"`},

		{"format", `[["2.412e-12", "F"], ["0", "H"], ["-1234.5", "Hz"], ["999.96", "Hz"]].map(([x, u]) => m.plain(Number(x), u, 4))`, `["2.412 pF","0 H","−1.234 kHz","1.000 kHz"]`},
		{"format", `[m.plain(null, "H"), m.plain(Infinity, "H"), m.decibels(-3.05), m.decibels(-Infinity), m.quantity({value: null, why: "x"}, "H")]`, `["?","∞","−3.0 dB","–","?"]`},
		{"format", `[m.brief({value: 4223.4, U95: 200}, "Hz"), m.brief({value: 4223.4, U95: 2}, "Hz"), m.brief({value: 2.674, U95: 0}, "")]`, `["4.22 kHz","4.22 kHz","2.67"]`},
		{"format", `m.visible("a\u202eb\nc\u0000")`, `"a` + "\ufffd" + `b c` + "\ufffd" + `"`},
		{"format", `m.typeset("from -3 dB to (-5), a-b 2-3")`, `"from −3 dB to (−5), a-b 2-3"`},
		{"format", `[10, 59, 60, 3599].map(s => m.since(new Date(Date.UTC(2026, 0, 1)).toISOString(), Date.UTC(2026, 0, 1) + 1000 * s))`, `["just now","just now","1 min ago","59 min ago"]`},

		{"form", `m.withoutOption('--dcr "7.x5k": want a resistance')`, `"\"7.x5k\": want a resistance"`},
		{"form", `["--level 3: want at most 0 dBFS", "--added-c: 470x is none", "--tolerance belongs to --reference DIR", "what --level says", "celsius_at_takes: 20C is none", "winding.core_length: 5 is none", "coil.toml: cannot be read"].map(m.withoutOption)`, `["3: want at most 0 dBFS","470x is none","--tolerance belongs to --reference DIR","what --level says","20C is none","5 is none","coil.toml: cannot be read"]`},

		{"meters", `[-72, -36, 0, 6, -100, null, NaN].map(m.share)`, `[0,0.5,1,1,0,0,0]`},
		{"meters", `[[-0.05], [-2, true], [-20, true], [-50, true], [-60, false], [-30, false], [null]].map(([peak, playing]) => m.levelWords(peak, playing))`,
			`["clips: lower the gain or the level","close to clipping","good","low: raise the gain","quiet, as it should be","something is heard","silence"]`},
		// The highest peak stays for 1.5 s, then falls by 24 dB a second.
		{"meters", `(h => [h.take(-10, 0), h.take(-40, 1500), h.take(-40, 2000), h.take(-15, 2100), h.take(-40, 9000)])(new m.Hold())`, `[-10,-10,-22,-15,-40]`},

		{"takes", `m.proposeLoad({takes: []}, null, null)`, `{"kind":"bare","value":""}`},
		{"takes", `m.proposeLoad({takes: [{name: "bare"}]}, null, {advice: [{text: "x"}, {options: {"added-c": "330p 1%"}}]})`, `{"kind":"c","value":"330p 1%"}`},
		{"takes", `m.proposeLoad({takes: [{name: "bare"}, {added_c: "470p 1%"}]}, {parts: {added_c: ["470p 1%", "220p 1%"]}}, null)`, `{"kind":"c","value":"220p 1%"}`},
		{"takes", `m.stageOf({line: "lost", engine: {}}, {}).state`, `"lost"`},
		{"takes", `m.stageOf({line: "open", engine: {phase: "working", kind: "take", take: "c470"}, progress: {repeat: 2, repeats: 4}}, {working: true})`, `{"state":"working","word":"Sweep 2 of 4","take":"c470","text":"Leave coil and exciter alone."}`},

		{"takes", `m.stageOf({line: "open", engine: {phase: "lost", kind: "take", job: "take c470 of coil", take: "c470"}}, {working: true}).word`, `"Waiting"`},

		{"steps", `m.stepWords({bench: {missing: []}, coils: [], coil: null}).takes`, `{"word":"needs a coil","mark":"wait"}`},
		{"steps", `m.next({bench: {file: {}, missing: []}, coils: [{}], coil: {takes: [{name: "a", started: "2026-01-01T00:00:00Z"}]}, result: {state: "stale", stale: ["coil.toml was edited"], result: {}}}).text`, `"The numbers are out of date: coil.toml was edited"`},
		{"steps", `m.next({bench: {file: {}, missing: []}, coils: [{}], coil: {takes: [{name: "a", fit_for_use: false, added_c: "470p", started: "2026-01-01T00:00:00Z", advice: ["Lower it."]}]}}).options`, `{"added-c":"470p"}`},
	} {
		got := browserrig.JS[string](p.Tab, fmt.Sprintf(`import("/%s.js").then(m => JSON.stringify(%s))`, c.module, c.call))
		if got = strings.ReplaceAll(got, "\u00a0", " "); got != c.want {
			t.Errorf("%s: %s\n is   %s\n want %s", c.module, c.call, got, c.want)
		}
	}
	p.quiet(s)
}

// testNumbersOfModules: the page writes numbers as the reports do.
func testNumbersOfModules(t *testing.T, browser context.Context) {
	t.Parallel()
	s := startServe(t, t.TempDir(), "--bench", "virtual")
	p := s.open(browser, browserrig.View{})
	type number struct {
		Q    fit.Quantity
		Unit string
	}
	var numbers []number
	var want []string
	add := func(q fit.Quantity, unit quantity.Unit) {
		numbers = append(numbers, number{q, string(unit)})
		want = append(want, strings.ReplaceAll(notation.Quantity(q, unit), "\u00a0", " "))
	}
	for _, unit := range []quantity.Unit{quantity.Henry, quantity.Hertz, quantity.Farad, quantity.Ratio} {
		for _, value := range []float64{2.4123, 0.99996, 9.996, -0.26, 4370.2, 999.95, 0.0247, 118.37e-12, 1e6} {
			if unit == quantity.Ratio && (value > 10 || value > 0 && value < 0.1) {
				continue // no Q
			}
			for _, relative := range []float64{0.5, 0.1, 0.0996, 0.01, 0.00333, 1e-4} {
				u95 := relative * math.Abs(value)
				add(fit.Quantity{Value: value, U95: u95}, unit)
				add(fit.Quantity{Value: value, U95: u95, Low: value - 0.8*u95, High: value + 1.4*u95}, unit)
			}
		}
	}
	list, err := json.Marshal(numbers)
	if err != nil {
		t.Fatal(err)
	}
	got := browserrig.JS[[]string](p.Tab, fmt.Sprintf(`import("/format.js").then(m => %s.map(n => m.quantity(n.Q, n.Unit)))`, list))
	for i, n := range numbers {
		if text := strings.ReplaceAll(got[i], "\u00a0", " "); text != want[i] {
			t.Errorf("%+v: the page writes %q, the reports %q", n, text, want[i])
		}
	}
}
