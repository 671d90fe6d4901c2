package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"coilsweep/capture"
	"coilsweep/report/browserrig"
	"coilsweep/report/qr"
)

// TestHandsPage looks at what keeps hands and eyes at the coil.
func TestHandsPage(t *testing.T) {
	t.Parallel()
	browser := browserrig.Start(t, browserLife)
	t.Run("live mode", func(t *testing.T) { testLive(t, browser) })
	t.Run("away from the screen", func(t *testing.T) { testAfar(t, browser) })
	t.Run("decimal comma", func(t *testing.T) { testComma(t, browser) })
	t.Run("my parts", func(t *testing.T) { testMyParts(t, browser) })
	t.Run("tablet", func(t *testing.T) { testTablet(t, browser) })
	t.Run("labels", func(t *testing.T) { testLabels(t, browser) })
	t.Run("lot", func(t *testing.T) { testLot(t, browser) })
}

// testLive: short sweeps over and over, drawn within a second after each, of which
// nothing is kept.
func testLive(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	mustRun(t, "new", filepath.Join(root, "a"), "--name", "Neck")
	before := tree(t, filepath.Join(root, "a"))
	s := startServe(t, root, "--bench", "virtual") // in the time that a real bench takes
	p := s.open(browser, browserrig.View{})
	p.says("#phase", "listening")
	p.step("takes")
	p.click(`#stage [data-do="live"]`)
	p.shoot("live-ready")
	browserrig.JS[any](p.Tab, `import("/state.js").then(({on}) => {
		window.shown = new Map();
		on("live", () => {
			const sweep = document.getElementById("live-played").textContent.split(",")[0];
			if (!shown.has(sweep)) shown.set(sweep, performance.now());
		});
		return null; })`)
	p.click("#live-go")
	p.says("#live-state", "Sweeping")
	p.says("#live-resonance", "8.05")
	p.says("#live-resonance", "kHz")
	p.says("#live-q", "3.9")
	p.says("#live-level", "dBFS")
	p.says("#live-played", "played at −30 dBFS")
	p.await("the curve", `document.querySelector("#live-figure svg .curve")`)
	p.click("#live-louder")
	p.click("#live-louder")
	p.says("#live-played", "played at −24 dBFS")
	p.click("#live-mark")
	p.says("#live-since", "Since the mark: resonance")
	p.shoot("live")
	p.Accessible("", 8)
	for name, view := range map[string]browserrig.View{
		"live-phone": {Width: 390, Height: 800}, "live-tablet": {Width: 1024, Height: 768}, "live-dark": {Dark: true},
	} {
		p.Show(view)
		if width := view.Width; width > 0 {
			for _, place := range []string{"#live-screen", "#live-resonance", "#live-level"} {
				if right := browserrig.JS[float64](p.Tab, `(n => Math.max(n.scrollWidth, n.getBoundingClientRect().right))(document.querySelector("`+
					place+`"))`); right > float64(width) {
					t.Errorf("%s reaches to %g px on a screen of %d", place, right, width)
				}
			}
		}
		p.shoot(name)
	}
	p.Accessible(`runOnly: ["color-contrast"], `, 1)
	p.Show(browserrig.View{})

	// A sweep of 0.4 s and the silence of 0.5 s before it are shown within 1 s: some are,
	// whoever else uses this machine.
	p.await("a number within 1 s after its sweep",
		`(all => all.slice(1).some((at, i) => at - all[i] < 1950))([...shown.values()])`)
	gap := browserrig.JS[float64](p.Tab, `(all => Math.min(...all.slice(1).map((at, i) => at - all[i])))([...shown.values()])`)
	t.Logf("a number every %.0f ms", gap)

	// The space bar stops and starts; Escape stops, then closes; no take is begun.
	p.press(kb.Escape)
	p.says("#live-state", "Stopped")
	browserrig.JS[any](p.Tab, `document.getElementById("live-h").tabIndex = -1; document.getElementById("live-h").focus(); null`)
	p.press(" ")
	p.says("#live-state", "Sweeping")
	p.press(" ")
	p.says("#live-state", "Stopped")
	p.press(" ")
	p.says("#live-state", "Sweeping")
	p.click("#live-close")
	p.await("the end of the sweeps", `!document.getElementById("live").open && document.getElementById("phase").textContent === "listening"`)
	if after := tree(t, filepath.Join(root, "a")); after != before {
		t.Errorf("live mode changed the folder from\n%s\nto\n%s", before, after)
	}
	if entries, err := os.ReadDir(filepath.Join(root, "a", "takes")); err == nil && len(entries) > 0 {
		t.Errorf("live mode kept %v", entries)
	}
	p.quiet(s)
}

// testAfar: the title tells how a take goes on, sounds how it ended, and a pedal starts
// and stops it.
func testAfar(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	mustRun(t, "new", filepath.Join(root, "a"), "--name", "Neck")
	s := startServe(t, root, "--bench", "virtual")
	p := s.open(browser, browserrig.View{})
	p.says("#phase", "listening")
	p.step("takes")
	// What is played, said and locked is heard of in place of the loudspeaker.
	browserrig.JS[any](p.Tab, `(() => {
		window.tones = []; window.locks = []; window.spoken = []; window.titles = [];
		const real = OscillatorNode.prototype.start;
		OscillatorNode.prototype.start = function (at) { tones.push(this.frequency.value); return real.call(this, at); };
		navigator.wakeLock.request = async (what) => { locks.push(what); return { released: false, release: async () => locks.push("released") }; };
		speechSynthesis.speak = (u) => spoken.push(u.text);
		new MutationObserver(() => titles.push(document.title)).observe(document.querySelector("title"), { childList: true });
		return null;
	})()`)
	p.click("#afar summary")
	p.click("#afar-speak")
	p.click("#take-more summary")
	p.write("#t-repeats", "2")
	p.write("#t-take", "quick")
	p.click(`#afar [data-do="learn"]`)
	p.press("x")
	p.says("#afar-pedal-said", "needed for other things")
	p.press(kb.PageDown)
	p.says("#afar-pedal-said", "The pedal's key is PageDown")
	p.shoot("afar")
	p.Accessible("", 15)
	p.onPhone("afar", "the takes")
	p.Show(browserrig.View{})

	// The focus is in a field: a pedal does not type.
	p.Do(chromedp.Focus(chromedp.CSS("#t-take")))
	p.press(kb.PageDown)
	p.says("#stage-state", "Kept")
	p.await("the title while it ran", `titles.some(t => /^Sweep 2 of 2 · Takes/.test(t))`)
	p.await("the title at its end", `titles.some(t => t.startsWith("✓ quick · "))`)
	p.await("the sound of a usable take", `JSON.stringify(tones) === "[660,990]"`)
	p.await("the words", `JSON.stringify(spoken) === '["Take quick is kept."]'`)
	p.await("a screen that may go dark again", `locks[0] === "screen" && locks.at(-1) === "released"`)
	p.await("the title as it was", `document.title === "Takes · coilsweep"`)

	// F13 is a pedal without being chosen; a take that is stopped sounds otherwise.
	p.write("#t-take", "stopped")
	browserrig.JS[any](p.Tab, `window.f13 = () => document.activeElement.dispatchEvent(new KeyboardEvent("keydown", {key: "F13", bubbles: true, cancelable: true})); f13(); null`)
	p.says("#stage-state", "Sweep 1")
	browserrig.JS[any](p.Tab, `f13(); null`)
	p.says("#stage-state", "Stopped")
	p.await("the other sound", `JSON.stringify(tones.slice(2)) === "[220,220]"`)

	// The choice outlives the page, and can be taken back.
	p.Do(chromedp.Reload())
	p.await("the pedal", `document.getElementById("afar-pedal-said").textContent.includes("PageDown")`)
	p.click("#afar summary")
	p.click("#afar-forget")
	p.says("#afar-pedal-said", "F13 to F24")
	p.press(kb.PageDown)
	p.quiet(s)
	if titles := browserrig.JS[string](p.Tab, `document.getElementById("stage-state").textContent`); titles != "Ready" {
		t.Errorf("a key that is no pedal any more leaves the stage at %q", titles)
	}
}

// testComma: whoever types a decimal comma is understood, and files and command lines
// have the point.
func testComma(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	s := startServe(t, root, "--bench", "virtual", "--virtual-file", fast(t, t.TempDir()))
	p := s.open(browser, browserrig.View{})
	p.step("bench")
	p.write("#b-fixture-c", "65,5p 5,5%")
	line := func(form, has string) {
		p.await("the command line with "+has, fmt.Sprintf(`document.querySelector("#%s-line").textContent.includes(%q)`, form, has))
	}
	line("bench", `--fixture-c "65.5p 5.5%"`)
	p.write("#check-level", "−12,5")
	line("check", `--level=-12.5`)
	p.click(`#bench-form button[type="submit"]`)
	p.await("the file", `document.getElementById("bench-text").value.includes("65.5p 5.5%")`)

	p.click("#coil-new")
	p.write("#n-name", "Neck, 7,85k")
	p.write("#n-dcr", "7,85k@22,5C 0,5%")
	p.click(`#new-coil button[type="submit"]`)
	p.says("#takes .of-coil", "Neck, 7,85k")
	p.step("coil")
	p.write("#c-celsius", "22,5")
	p.click(`#coil-form button[type="submit"]`)
	p.await("the temperature", `document.getElementById("coil-text").value.includes("celsius_at_takes = 22.5")`)
	p.write("#m-reading", "2,31H 0,5% + 2 digits")
	p.write("#m-at", "1,5k")
	p.write("#m-celsius", "21,5")
	p.click(`#meter-form button[type="submit"]`)
	p.says("#meter-readings", "2.31H 0.5% + 2 digits")

	p.step("takes")
	p.click(`#take-form input[name="kind"][value="c"]`)
	p.write("#t-value", "2,2n 0,5%")
	p.says("#go", "c2n2")
	line("measure", `--added-c "2.2n 0.5%"`)
	p.click("#take-more summary")
	p.write("#t-until", "0,5%")
	line("measure", `--until 0.5%`)
	p.click("#go")
	p.says("#stage-state", "Kept")
	p.says("#take-list", "2.2n 0.5%")
	p.click(`#take-form input[name="kind"][value="r"]`)
	p.write("#t-value", "220,000")
	p.click("#go")
	p.says("#take-form .wrong", "220,000 can mean thousands or decimals: write 220000 or 220.000")
	p.quiet(s)
	text, err := os.ReadFile(filepath.Join(root, "neck-7-85k", "coil.toml"))
	if want := `"7.85k@22.5C 0.5%"`; err != nil || !strings.Contains(string(text), want) {
		t.Errorf("coil.toml lacks %s: %s, %v", want, text, err)
	}
}

// testMyParts: a part at hand is valued once, and then proposed wherever one is wanted.
func testMyParts(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	coil := filepath.Join(root, "a")
	mustRun(t, "new", coil, "--name", "Neck", "--dcr", "7.85k@20C 0.5%")
	mustRun(t, "measure", coil, "--take", "bare", "--bench", "virtual", "--duration", "0.35s", "--repeats", "2",
		"--fixture-c", "65p 5%", "--fixture-r", "1M 1%")
	mustRun(t, "fit", coil, "--advise")
	s := startServe(t, root, "--bench", "virtual", "--virtual-file", fast(t, t.TempDir()))
	p := s.open(browser, browserrig.View{})
	p.write("#my-capacitors", "steam")
	p.click(`#my-parts button[type="submit"]`)
	p.says("#my-parts .wrong", "steam")
	p.write("#my-capacitors", "470p 10%")
	p.Do(chromedp.KeyEvent(kb.Enter + "998p 0,3% U95"))
	p.write("#my-resistors", "220k 1%")
	p.shoot("my-parts")
	p.click(`#my-parts button[type="submit"]`)
	p.await("the list as it is kept", `document.getElementById("my-capacitors").value === "470p 10%\n998p 0.3% U95"`)
	text, err := os.ReadFile(filepath.Join(root, "parts.toml"))
	if err != nil || !strings.Contains(string(text), `["470p 10%", "998p 0.3% U95"]`) {
		t.Errorf("parts.toml: %s, %v", text, err)
	}
	// The advice, the form of the next take and the chips have it as it was valued.
	p.step("result")
	p.says("#result-head .advice", "with your 998p 0.3% U95 across the coil")
	p.click(`#result-head [data-do="prepare"]`)
	p.await("the part in the form", `document.getElementById("t-value").value === "998p 0.3% U95"`)
	p.says("#used-c button", "470p 10%")
	p.says("#used-c button", "998p 0.3% U95")
	p.says("#go", "Connect 998 pF, then press")
	p.shoot("my-parts-take")
	p.step("bench")
	p.Accessible("", 15)
	p.onPhone("my-parts", "the bench")

	// What somebody else writes there meanwhile is not overwritten.
	if err := os.WriteFile(filepath.Join(root, "parts.toml"), []byte("schema = \"coilsweep.parts/1\"\n# mine\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	p.Show(browserrig.View{})
	p.write("#my-resistors", "100k 1%")
	p.click(`#my-parts button[type="submit"]`)
	p.says("#my-parts .wrong", "changed meanwhile")
	p.quiet(s, "409")
}

// testTablet: the page shows its address to a camera, with a key that outlives the program.
func testTablet(t *testing.T, browser context.Context) {
	t.Parallel()
	root, key := t.TempDir(), filepath.Join(t.TempDir(), "key")
	s := startServe(t, root, "--bench", "virtual", "--key-file", key)
	first := s.url[strings.Index(s.url, "#"):]
	p := s.open(browser, browserrig.View{})
	p.step("bench")
	p.click("#tablet summary")
	p.says("#tablet-code", "Only this machine can open the page now")
	p.says("#tablet-code", "coilsweep serve --listen")
	s.close()

	s = startServe(t, root, "--bench", "virtual", "--key-file", key, "--listen", "0.0.0.0:0")
	if again := s.url[strings.Index(s.url, "#"):]; again != first {
		t.Errorf("the key is %s, and was %s", again, first)
	}
	_, other, found := strings.Cut(s.said.String(), "from other machines: ")
	if !found {
		t.Log("this machine is in no network: nobody else could open the page")
		return
	}
	other, _, _ = strings.Cut(other, "\n")
	p = s.open(browser, browserrig.View{})
	p.step("bench")
	p.click("#tablet summary")
	p.says("#tablet-code code", other)
	want, err := qr.SVG(other, "")
	if err != nil {
		t.Fatal(err)
	}
	modules := func(svg string) string { return svg[strings.LastIndex(svg, ` d="`):strings.LastIndex(svg, `z"`)] }
	if got := browserrig.JS[string](p.Tab, `document.querySelector("#tablet-code svg").outerHTML`); modules(got) != modules(want) {
		t.Errorf("the code is not that of %s", other)
	}
	p.shoot("tablet")
	p.Accessible("", 15)
	p.onPhone("tablet", "the bench")
	p.Show(browserrig.View{})
	p.click("#tablet summary")
	p.await("the key to be put away", `!document.querySelector("#tablet-code svg")`)
	p.quiet(s)
}

// testLabels: labels of the coils that were chosen are shown, and open as a page to print.
func testLabels(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	for _, name := range []string{"Bridge", "Neck <b>", "A_name as long as a winder's notes of a whole afternoon, and then some"} {
		coil := filepath.Join(root, strings.ToLower(name[:3]))
		mustRun(t, "new", coil, "--name", name, "--dcr", "7.85k@20C 0.5%")
		mustRun(t, "measure", coil, "--take", "bare", "--bench", "virtual", "--duration", "0.35s", "--repeats", "2",
			"--fixture-c", "65p 5%", "--fixture-r", "1M 1%")
		mustRun(t, "fit", coil)
	}
	s := startServe(t, root, "--bench", "virtual", "--virtual-file", fast(t, t.TempDir()))
	p := s.open(browser, browserrig.View{})
	p.step("compare")
	p.click("#many-labels")
	p.says("#many-form .wrong", "Choose 1 to 1000 coils")
	p.click("#many-all")
	p.click("#many-labels")
	p.says("#many-answer .label h2", "Neck <b>")
	p.says("#many-answer .label dd", "kHz")
	p.shoot("labels")
	p.Accessible("", 15)
	p.onPhone("labels", "the labels")
	p.Accessible(`runOnly: ["color-contrast"], `, 1)
	sheet := benchTab{browserrig.Open(t, browser,
		browserrig.JS[string](p.Tab, `document.querySelector("#many-answer a").href`), browserrig.View{})}
	if n := browserrig.JS[float64](sheet.Tab, `document.querySelectorAll(".label .qr").length`); n != 3 {
		t.Errorf("the sheet has %g codes", n)
	}
	// Nothing of a label is cut but a name that is too long for it.
	if cut := browserrig.JS[string](sheet.Tab, `[...document.querySelectorAll(".label, .label dl, .label .qr")].filter(n =>
		n.scrollHeight > n.clientHeight + 1 && n.localName !== "svg" || n.getBoundingClientRect().right >
		n.closest(".label").getBoundingClientRect().right + 1).map(n => n.textContent).join()`); cut != "" {
		t.Errorf("cut off: %s", cut)
	}
	sheet.shoot("labels-sheet")
	sheet.Silent()
	p.quiet(s)
}

// testLot: a serial number and Enter, one take, a verdict, and the field is ready for the
// next.
func testLot(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	bench := fast(t, t.TempDir())
	odd := filepath.Join(t.TempDir(), "odd.toml")
	if err := os.WriteFile(odd, []byte(benchOf(3.2, 7850, 0)), 0o666); err != nil {
		t.Fatal(err)
	}
	for coil, file := range map[string]string{"good": bench, "odd": odd} {
		mustRun(t, "new", filepath.Join(root, coil))
		mustRun(t, "measure", filepath.Join(root, coil), "--take", "bare", "--bench", "virtual", "--virtual-file", file,
			"--duration", "0.35s", "--repeats", "2")
		mustRun(t, "fit", filepath.Join(root, coil))
	}
	s := startServe(t, root, "--bench", "virtual", "--virtual-file", bench)
	p := s.open(browser, browserrig.View{})
	p.says("#phase", "listening")
	p.step("compare")
	p.click("#lot summary")
	p.write("#l-serial", "S/1")
	p.press(kb.Enter)
	p.says("#lot-form .wrong", "Choose the coil that the others are judged by")
	p.choose("#l-reference", "good")
	p.write("#l-tolerance", "resonance_hz=3%")
	p.write("#l-lot", "spring")
	p.write("#l-serial", "S/1")
	p.press(kb.Enter)
	p.says("#lot-verdict", "S/1  pass")
	p.await("the field for the next", `document.activeElement.id === "l-serial" && document.activeElement.value === ""`)
	p.write("#l-serial", "S/1")
	p.press(kb.Enter)
	p.says("#lot-form .wrong", "S/1 is measured already")
	p.choose("#l-reference", "odd")
	p.write("#l-serial", "S2")
	p.press(kb.Enter)
	p.says("#lot-verdict", "S2  fail: resonance, nothing added is ")
	// By limits as they are agreed upon, where the lot has them; a coil without anything to
	// judge by is not measured.
	p.choose("#l-reference", "")
	p.write("#l-serial", "S3")
	p.press(kb.Enter)
	p.says("#lot-form .wrong", "put limits into limits.toml in the folder of the lot")
	if _, err := os.Stat(filepath.Join(root, "spring", "S3")); err == nil {
		t.Error("the coil was made though nothing is there to judge it by")
	}
	agreed := "schema = \"coilsweep.limits/1\"\n[resonance_hz]\nmin = \"9.9kHz\"\nmax = \"10.4kHz\"\n"
	if err := os.WriteFile(filepath.Join(root, "spring", "limits.toml"), []byte(agreed), 0o666); err != nil {
		t.Fatal(err)
	}
	p.write("#l-serial", "S3")
	p.press(kb.Enter)
	p.says("#lot-form .wrong", "tolerance belongs to a reference")
	browserrig.JS[any](p.Tab, `document.getElementById("l-tolerance").value = ""`)
	p.write("#l-serial", "S3")
	p.press(kb.Enter)
	p.says("#lot-verdict", "S3  ")
	p.says("#lot-verdict", "kHz")
	p.shoot("lot")
	p.Accessible("", 15)
	p.onPhone("lot", "the lot")
	folder, err := capture.OpenFolder(filepath.Join(root, "spring", "S-1"))
	if err != nil || folder.Coil.Serial != "S/1" || folder.Coil.Lot != "spring" {
		t.Errorf("the coil %+v, %v", folder, err)
	}
	p.quiet(s, "409")
}
