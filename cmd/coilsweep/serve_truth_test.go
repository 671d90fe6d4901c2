package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"coilsweep/capture"
	"coilsweep/capture/virtual"
	"coilsweep/excite/quantity"
	"coilsweep/report/browserrig"
)

// TestBenchPageTruth looks for what the page must not say or write.
func TestBenchPageTruth(t *testing.T) {
	t.Parallel()
	browser := browserrig.Start(t, browserLife)
	t.Run("first number", func(t *testing.T) { testFirstNumber(t, browser) })
	t.Run("load", func(t *testing.T) { testLoad(t, browser) })
	t.Run("trouble", func(t *testing.T) { testTrouble(t, browser) })
	t.Run("words", func(t *testing.T) { testWords(t, browser) })
	t.Run("undone", func(t *testing.T) { testUndone(t, browser) })
	t.Run("bench undone", func(t *testing.T) { testBenchUndone(t, browser) })
	t.Run("unfinished", func(t *testing.T) { testUnfinished(t, browser) })
}

// testFirstNumber: from an empty folder on the simulated bench to a number by a name,
// Enter and the space bar; and nothing of the simulated bench is stated for a real one.
func testFirstNumber(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	s := startServe(t, root, "--bench", "virtual", "--virtual-file", fast(t, t.TempDir()))
	p := s.open(browser, browserrig.View{})
	p.await("the field for the name", `document.activeElement.id === "n-name"`)
	p.press("Bridge" + kb.Enter)
	p.await("the takes", `!document.getElementById("takes").hidden && !document.querySelector("#go").disabled`)
	p.press(" ")
	p.says("#stage-state", "Kept")
	p.says("#stage-result", "Hz")
	if found, err := filepath.Glob(filepath.Join(root, "bench.toml")); err != nil || len(found) > 0 {
		t.Errorf("the simulated bench is stated in %v, where a real one reads it", found)
	}
	text, err := os.ReadFile(filepath.Join(root, "bridge", "takes", "bare", "take.toml"))
	if err != nil || !strings.Contains(string(text), "65p 5%") {
		t.Errorf("the take does not know the simulated fixture (%v):\n%s", err, text)
	}

	// A change of the simulated bench is its own, too.
	p.step("bench")
	p.write("#b-fixture-c", "80p 5%")
	p.click(`#bench-form button[type="submit"]`)
	p.says("#bench-knows", "C 80p 5%")
	p.click(`#bench-kind input[value="soundcard"]`)
	p.says("#bench-missing", "a description of the bench")
	if got := browserrig.JS[string](p.Tab, `document.getElementById("b-fixture-c").value`); got != "" {
		t.Errorf("the sound card's fixture is that of the simulated bench: %q", got)
	}
	p.quiet(s)
}

// testLoad: what the form says is connected stays what was connected, whatever is
// proposed, and after a take that failed; a take at odds with the others is told at once.
func testLoad(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	coil := filepath.Join(root, "bridge")
	mustRun(t, "new", coil)
	mustRun(t, "bench", root, "--new", "--fixture-c", "65p 5%", "--fixture-r", "1M 1%") // for what is imported
	s := startServe(t, root, "--bench", "virtual", "--virtual-file", fast(t, t.TempDir()))
	p := s.open(browser, browserrig.View{})
	says := func(kind, value string) {
		t.Helper()
		if got := browserrig.JS[string](p.Tab, `document.querySelector("#take-form input[name=kind]:checked").value +
			" " + document.getElementById("t-value").value`); got != kind+" "+value {
			t.Errorf("the form says %q is connected, it is %q", got, kind+" "+value)
		}
	}
	p.step("takes")
	p.says("#go", "bare: nothing connected across the coil")
	p.press(" ")
	p.says("#stage-state", "Kept")
	p.says("#take-next", "Next: ")
	says("bare", "")
	p.says("#go", "Start")
	p.says("#go", "nothing connected across the coil")

	// The second take costs a chip and the space bar.
	p.click("#take-next button")
	p.says("#go", "Connect ")
	p.says("#go", ", then press")
	p.says("#stage-text", "Connect ")
	for name, view := range map[string]browserrig.View{"wide": {Width: 1440, Height: 900},
		"tablet": {Width: 1024, Height: 768}, "phone": {Width: 390, Height: 800}, "dark": {Dark: true}} {
		p.Show(view)
		p.shoot("next-part-" + name)
		p.Accessible("", 15)
	}
	p.Show(browserrig.View{})
	p.press(" ")
	p.says("#stage-state", "Kept")
	value := browserrig.JS[string](p.Tab, `document.getElementById("t-value").value`)
	p.says("#take-list", value)
	says("c", value)
	p.says("#go", "Start")

	// Enter in the value starts; then the space bar records what the form says.
	p.click(`#take-form input[name="kind"][value="c"]`)
	p.write("#t-value", "1n 1%")
	p.says("#go", "Connect 1 nF, then press")
	p.press(kb.Enter)
	p.says("#take-list", "c1n")
	p.says("#stage-state", "Kept")
	p.says("#go", "c1n-2: 1n 1% connected")
	p.press(" ")
	p.says("#take-list", "c1n-2")
	p.says("#stage-state", "Kept")

	// A link, or a radio that is chosen, does not keep the space bar to itself.
	p.tabTo(`#steps a[href="#takes"]`)
	p.press(" ")
	p.says("#take-list", "c1n-3")
	p.says("#stage-state", "Kept")
	p.click(`#take-form input[name="kind"][value="bare"]`)
	p.says("#go", "Take the part off, then press")
	p.press(" ")
	p.says("#take-list", "bare-2")
	p.says("#stage-state", "Kept")

	// What was recorded with nothing added is said to have a capacitor.
	p.click(`#take-form input[name="kind"][value="c"]`)
	p.write("#t-value", "470p 1%")
	p.says("#go", "c470")
	p.write("#t-take", "doubted")
	p.drop("#drop", filepath.Join(coil, "takes", "bare", "capture.wav"), stimulusOf(t, coil, "bare"))
	p.says("#import-chosen", "capture.wav, stimulus")
	p.press(kb.Enter)
	p.says("#stage-state", "Check it")
	p.says("#stage-advice", "has the resonance of take bare")
	p.shoot("check-it")
	p.quiet(s)
}

// stimulusOf is a file with the stimulus of a take.
func stimulusOf(t *testing.T, coil, take string) string {
	t.Helper()
	folder, err := capture.OpenFolder(coil)
	if err != nil {
		t.Fatal(err)
	}
	held, err := folder.ReadTake(take)
	if err != nil {
		t.Fatal(err)
	}
	text, err := held.Stimulus.Encode()
	path := filepath.Join(t.TempDir(), "played.toml")
	if err == nil {
		err = os.WriteFile(path, text, 0o666)
	}
	if err != nil {
		t.Fatal(err)
	}
	return path
}

// testTrouble: a trial sweep that finds trouble says so, with what to do and a button that
// does it.
func testTrouble(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	hot := strings.Replace(virtual.DefaultText(), "full_scale_v = 0.15 ", "full_scale_v = 0.015", 1)
	s := startServe(t, root, "--bench", "virtual", "--virtual-file", benchTextFile(t, t.TempDir(), hot))
	p := s.open(browser, browserrig.View{})
	p.step("bench")
	p.click(`#job-check button[type="submit"]`)
	p.says("#check-outcome .alarm", "A take would not be usable: at −12 dBFS the coil")
	p.says("#check-outcome .advice", "turn the gain down")
	p.shoot("trouble")
	level := browserrig.JS[string](p.Tab,
		`JSON.parse(document.querySelector("#check-outcome button[data-do=bench]").dataset.options).level`)
	p.click("#check-outcome button[data-do=bench]")
	p.await("the level for takes", fmt.Sprintf(`document.getElementById("t-level").placeholder === %q`, "if empty: "+quantity.Minus(level)))
	p.quiet(s)
}

// testWords: what the page says while a take runs, after the program was ended, of a
// device that never was, and of a coil of which little is known.
func testWords(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	coil := filepath.Join(root, "bridge")
	mustRun(t, "new", coil)
	mustRun(t, "measure", coil, "--take", "c470", "--added-c", "470p 1%", "--bench", "virtual", "--repeats", "1",
		"--duration", "0.35s")
	mustRun(t, "fit", coil)
	s := startServe(t, root, "--bench", "virtual") // in real time
	p := s.open(browser, browserrig.View{})
	p.step("result")
	p.says("#result-head .numbers .what", "take c470")
	p.says("#result-head .numbers", "for the same reason")
	if text := p.text("#next"); strings.Contains(text, "The numbers stand") {
		t.Errorf("nothing is known of L and C, and the page says %s", text)
	}

	p.step("takes")
	p.says("#go", "c470")
	browserrig.JS[any](p.Tab, `window.heard = new Set();
		new MutationObserver(() => {
			if (document.getElementById("stage").dataset.state === "working")
				heard.add(document.querySelector("#stage-level span")?.textContent);
		}).observe(document.getElementById("stage"), {subtree: true, childList: true, characterData: true});
		document.getElementById("take-more").open = true; null`)
	p.write("#t-level", "0")
	p.click(`#take-form input[name="kind"][value="bare"]`) // it is louder
	p.says("#go", "Take the part off")
	p.click("#go")
	p.says("#stage-level", "clipped: stop now")
	p.shoot("clipped")
	time.Sleep(time.Second) // quieter by now
	p.says("#stage-level", "clipped: stop now")
	if browserrig.JS[bool](p.Tab, `[...heard].some(words => words?.startsWith("low"))`) {
		t.Error("a sweep that has just begun is called low")
	}
	s.close()
	p.says("#lost-head", "coilsweep was ended")
	p.says("#lost-take", "was stopped")
	p.says("#stage-text", "was stopped")

	card := "schema = \"coilsweep.bench/1\"\n[card]\ninput = \"not there\"\noutput = \"not there\"\n"
	if err := os.WriteFile(filepath.Join(root, "bench.toml"), []byte(card), 0o666); err != nil {
		t.Fatal(err)
	}
	p = startServe(t, root).open(browser, browserrig.View{})
	p.says("#phase", "no device")
	p.says("#next", "cannot be opened")
}

// testUndone: a coil that comes from elsewhere is seen and can be fitted; what was done to
// a coil can be undone, and what is being edited outlives another coil and a reload.
func testUndone(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	mustRun(t, "new", filepath.Join(root, "a"), "--name", "First")
	s := startServe(t, root, "--bench", "virtual", "--virtual-file", fast(t, t.TempDir()))
	p := s.open(browser, browserrig.View{})
	choose := func(coil string) {
		p.await(coil, fmt.Sprintf(`[...document.querySelectorAll("#coil-choice option")].some(o => o.value === %q)`, coil))
		p.choose("#coil-choice", coil)
	}
	mustRun(t, "new", filepath.Join(root, "b"), "--name", "Elsewhere")
	mustRun(t, "measure", filepath.Join(root, "b"), "--take", "bare", "--bench", "virtual", "--repeats", "1",
		"--duration", "0.35s")
	choose("b")
	p.step("result")
	p.says("#next", "The takes are there, and no result yet")
	p.click(`#result-empty [data-do="fit"]`)
	p.says("#result-head .numbers", "Hz")

	p.step("takes")
	p.click(`#take-list button[aria-label="Set aside take bare"]`)
	p.says("#take-aside", "Set aside: 1")
	p.click("#take-aside summary")
	p.click(`#take-aside button`)
	p.says("#take-list", "bare")

	p.step("coil")
	p.write("#c-name", "Renamed")
	p.click(`#coil-form button[type="submit"]`)
	p.says("#coil-name", "Renamed")
	p.write("#m-reading", "2.31H 0.5%")
	p.write("#m-at", "1000")
	p.click(`#meter-form button[type="submit"]`)
	p.says("#meter-readings", "2.31H 0.5%")
	p.shoot("readings")
	p.Accessible("", 15)
	p.click(`#meter-readings [data-do="no-reading"]`)
	p.says("#meter-readings", "None.")
	p.click("#coil-undo")
	p.says("#meter-readings", "2.31H 0.5%")

	p.write("#c-wire", "0.05 mm")
	choose("a")
	p.says("#coil-name", "First")
	if got := browserrig.JS[string](p.Tab, `document.getElementById("c-wire").value`); got != "" {
		t.Errorf("the wire of another coil: %q", got)
	}
	choose("b")
	wire := `document.getElementById("c-wire").value === "0.05 mm"`
	p.await("what was being edited", wire)
	p.Do(chromedp.Reload())
	p.await("what was being edited, after a reload", wire)
	p.click(`#coil-form button[type="submit"]`)
	p.await("the wire kept", `import("/state.js").then(m => m.state.coil.text.includes("0.05 mm"))`)
	p.quiet(s)
}

// testBenchUndone: an edit of the bench is taken back to the byte, by whatever it was made;
// what the bench wrote meanwhile is not lost by that.
func testBenchUndone(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	path := filepath.Join(root, "bench.toml")
	text := "schema = \"coilsweep.bench/1\" # of the back room\n[fixture]\nresistance = \"1M 5%\"\n"
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	s := startServe(t, root, "--bench", "soundcard")
	p := s.open(browser, browserrig.View{})
	is := func(what string, want func(string) bool) {
		t.Helper()
		for deadline := time.Now().Add(patience); ; time.Sleep(20 * time.Millisecond) {
			now, err := os.ReadFile(path)
			if err == nil && want(string(now)) {
				return
			}
			if time.Now().After(deadline) {
				t.Fatalf("waited in vain for %s: bench.toml is\n%s", what, now)
			}
		}
	}
	asIt := func(now string) bool { return now == text }
	p.await("the bench", `document.getElementById("b-fixture-r").value === "1M 5%"`)
	p.await("nothing to undo", `document.getElementById("bench-undo").hidden`)
	p.write("#b-fixture-c", "95p 20%")
	p.click(`#bench-form button[type="submit"]`)
	p.says("#bench-knows", "C 95p 20%")
	is("the capacitance", func(now string) bool { return strings.Contains(now, "95p 20%") })
	p.shoot("bench-undo")
	p.click("#bench-undo")
	is("the bench as it was", asIt)
	p.says("#bench-knows", "C not known")
	p.click("#bench-undo") // what was taken back can be had again
	is("the capacitance again", func(now string) bool { return strings.Contains(now, "95p 20%") })
	p.click("#bench-undo")
	is("the bench as it was, again", asIt)

	p.click("#bench-file summary")
	p.write("#bench-text", strings.Replace(text, "1M 5%", "2M 5%", 1))
	p.click(`#bench-file button[type="submit"]`)
	p.says("#bench-knows", "R 2M 5%")
	p.click("#bench-undo")
	is("the file as it was", asIt)
	p.says("#bench-knows", "R 1M 5%")

	p.write("#b-fixture-c", "80p 20%")
	p.click(`#bench-form button[type="submit"]`)
	p.says("#bench-knows", "C 80p 20%")
	if err := os.WriteFile(path, []byte(text+"[drive]\nkind = \"current\"\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	p.await("nothing to undo after another's change", `import("/state.js").then(async ({refresh, state}) => {
		await refresh.bench();
		return state.bench.file.text.includes("[drive]") && document.getElementById("bench-undo").hidden; })`)
	p.quiet(s)
}

// testUnfinished: an interrupted recording becomes a take with its own load, whatever the
// form says, and leaves the list; one without its load asks; one of no use is removed.
func testUnfinished(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	coil := filepath.Join(root, "bridge")
	mustRun(t, "new", coil)
	mustRun(t, "measure", coil, "--take", "whole", "--bench", "virtual", "--repeats", "2", "--duration", "0.35s")
	folder, err := capture.OpenFolder(coil)
	if err != nil {
		t.Fatal(err)
	}
	take, err := folder.ReadTake("whole")
	if err != nil {
		t.Fatal(err)
	}
	audio, err := os.ReadFile(filepath.Join(coil, "takes", "whole", capture.AudioFile))
	if err != nil {
		t.Fatal(err)
	}
	one := take.Stimulus.LeadInSamples + take.Stimulus.PeriodSamples
	frame := (len(audio) - 44) / int(take.Audio.Frames)
	for name, frames := range map[string]int{"own": one, "old": one, "short": take.Stimulus.LeadInSamples} {
		dir := filepath.Join(coil, "takes", name+".partial")
		if err := os.Mkdir(dir, 0o777); err != nil {
			t.Fatal(err)
		}
		plan := take
		plan.Name, plan.Audio, plan.Alignment = name, capture.Audio{}, nil
		if err := capture.KeepPlan(dir, plan); err != nil {
			t.Fatal(err)
		}
		if name == "old" {
			if err := os.Remove(filepath.Join(dir, "plan.toml")); err != nil {
				t.Fatal(err)
			}
		}
		if err := os.WriteFile(filepath.Join(dir, capture.AudioFile), audio[:44+frames*frame], 0o666); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.RemoveAll(filepath.Join(coil, "takes", "whole")); err != nil {
		t.Fatal(err)
	}

	s := startServe(t, root, "--bench", "virtual", "--virtual-file", fast(t, t.TempDir()))
	p := s.open(browser, browserrig.View{})
	p.step("takes")
	p.click(`#take-form input[name="kind"][value="c"]`)
	p.write("#t-value", "1n 1%")
	p.says("#take-partials", "1 of 2 sweeps")
	p.shoot("unfinished")
	p.Accessible("", 15)
	p.click(`#take-partials [data-key="own.partial"] button`)
	p.await("the take", `document.querySelector('#take-list [data-key="own"]')`)
	p.says(`#take-list [data-key="own"]`, "nothing added")
	p.says(`#take-list [data-key="own"]`, "1 of 2 sweeps")
	p.await("the list without it", `!document.querySelector('#take-partials [data-key="own.partial"]')`)

	p.click(`#take-partials [data-key="old.partial"] button`)
	p.says(`#take-partials [data-key="old.partial"] .wrong`, "Say what was connected")
	browserrig.JS[any](p.Tab, `document.getElementById("of-old.partial").value = "added-c"; null`)
	p.write(`[id="size-old.partial"]`, "470p 1%")
	p.click(`#take-partials [data-key="old.partial"] button`)
	p.says(`#take-list [data-key="old"]`, "470p 1%")

	p.click(`#take-partials [data-key="short.partial"] [data-do="remove-partial"]`)
	p.await("an empty list", `document.getElementById("take-partials").hidden`)
	if left, err := filepath.Glob(filepath.Join(coil, "takes", "*")); err != nil || len(left) != 3 {
		t.Errorf("left are %v (%v)", left, err)
	}
	p.quiet(s)
}
