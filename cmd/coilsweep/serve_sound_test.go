//go:build linux && cgo

package main

import (
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"coilsweep/capture/soundcard/pulserig"
	"coilsweep/excite/quantity"
	"coilsweep/report/browserrig"
)

// serveOn starts the program for root on a rig, as a process of its own: the
// environment is that of the whole process. It prints its address to out.
func serveOn(tb testing.TB, rig *pulserig.Rig, root string, args ...string) (program *exec.Cmd, out, said *heard) {
	tb.Helper()
	out, said = &heard{}, &heard{}
	program = exec.Command("coilsweep", append([]string{"serve", root, "--listen", "127.0.0.1:0"}, args...)...)
	program.Env = append(os.Environ(), rig.Env()...)
	program.Stdout, program.Stderr = out, said
	if err := program.Start(); err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() { program.Process.Kill(); program.Wait() })
	return program, out, said
}

// TestSoundBenchPage measures a coil in a browser through PortAudio, with the
// card pulled out and put back.
func TestSoundBenchPage(t *testing.T) {
	t.Parallel()
	browser := browserrig.Start(t, browserLife)
	rig := pulserig.Start(t, rigCoil)
	root := t.TempDir()
	program, out, said := serveOn(t, rig, root, "--bench", "virtual")
	s := &served{t: t, url: awaitAddress(t, out, said), said: said}
	p := s.open(browser, browserrig.View{})

	chooseCard(p)
	startCoil(p)
	measureInPage(t, p, rig, root)

	// Pulled out while nothing is played, and put back.
	p.step("takes")
	rig.Kill()
	p.says("#phase", "device lost")
	p.says("#next", "The sound device is lost")
	rig.Restart(t)
	p.says("#phase", "listening")

	// Pulled out in mid-take. Wait first until a sweep has come back: 2.7 s
	// after half a second of silence, two channels of 32 bit.
	p.write("#t-take", "broken")
	p.write("#t-repeats", "8")
	p.click("#go")
	p.awaitRecording(filepath.Join(root, "rig", "takes", "broken.partial", "capture.wav"), 5*pulserig.RateHz*8)
	pulled := time.Now()
	rig.Kill()
	p.says("#stage-state", "lost")
	t.Logf("the page shows after %.1f s that the take failed", time.Since(pulled).Seconds())
	p.says("#take-partials", "broken")
	p.Silent(s.base())

	if err := program.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	if err := program.Wait(); err != nil {
		t.Errorf("the program ended by %v; it said: %s", err, said)
	}
}

// chooseCard leaves the simulated bench for the sound card of the rig.
func chooseCard(p benchTab) {
	p.T.Helper()
	p.step("bench")
	p.click(`#bench-kind input[value="soundcard"]`)
	p.await("the sound card", `document.getElementById("simulated").hidden`)
	p.usable("#b-input")
	p.await("the devices", fmt.Sprintf(`[...document.querySelectorAll("#b-input option")].some(o => o.value === %q)`,
		pulserig.Input))
	p.choose("#b-input", pulserig.Input)
	p.choose("#b-output", pulserig.Output)
	p.choose("#b-reference", "current")
	p.write("#b-sense-r", "10 0.1%")
	p.write("#b-fixture-r", "1M 1%")
	p.click(`#bench-form button[type="submit"]`)
	p.says("#bench-knows", pulserig.Input+" → "+pulserig.Output)
	p.says("#phase", "listening")
	p.says("#bench-silence", "dBFS")
}

func startCoil(p benchTab) {
	p.T.Helper()
	p.click("#coil-new")
	p.write("#n-name", "Rig's coil")
	p.write("#n-folder", "rig")
	p.write("#n-dcr", "6k@20C 0.5%")
	p.click(`#new-coil button[type="submit"]`)
	p.says("#takes .of-coil", "Rig's coil")
	p.step("coil")
	p.write("#c-celsius", "20")
	p.click(`#coil-form button[type="submit"]`)
	p.says(`#steps a[href="#coil"] .word`, "ready")
}

// measureInPage takes the coil bare and with a capacitor, and wants the coil
// that the rig has.
func measureInPage(t *testing.T, p benchTab, rig *pulserig.Rig, root string) {
	t.Helper()
	takes := filepath.Join(root, "rig", "takes")
	p.step("takes")
	browserrig.JS[any](p.Tab, `document.getElementById("take-more").open = true; null`)
	p.write("#t-repeats", "2")

	// No sound before the cautions are read.
	asked := `document.getElementById("before-sound").open`
	p.click("#go")
	p.await("the cautions", asked)
	p.says("#before-sound", "Headphones off")
	p.click(`#before-sound button[value="no"]`)
	p.await("no cautions", "!"+asked)
	p.click("#go")
	p.await("the cautions again", asked)
	if made, _ := os.ReadDir(takes); len(made) > 0 {
		t.Errorf("before the cautions were read there is %v", made)
	}
	p.click("#before-sound-go")
	p.says("#take-list", "nothing added")

	rig.SetAddedCapacitance(470e-12)
	p.click(`#take-form input[name="kind"][value="c"]`)
	p.write("#t-value", "470p 1%")
	p.says("#go", "c470")
	p.click("#go")
	p.says("#take-list", "470p 1%")
	p.step("result")
	p.says("#result-takes", "c470")
	p.says(`#steps a[href="#result"] .word`, "ready")

	var result struct {
		L value `json:"inductance_h"`
		C value `json:"capacitance_f"`
		R value `json:"resistance_ohm"`
	}
	readJSON(t, filepath.Join(root, "rig", "result.json"), &result)
	for _, q := range []struct {
		what        string
		got         value
		want, least float64 // percent that U95 may be
	}{
		{"L", result.L, rigCoil.InductanceH, 3},
		{"C", result.C, rigCoil.CapacitanceF, 6},
		{"R", result.R, rigCoil.ResistanceOhm, 3},
	} {
		t.Logf("%s %.5g ± %.2g, the rig's is %g", q.what, q.got.Value, q.got.U95, q.want)
		if !(math.Abs(q.got.Value-q.want) <= q.got.U95 && q.got.U95 <= q.least/100*q.want) {
			t.Errorf("%s is %g ± %g, the rig's is %g", q.what, q.got.Value, q.got.U95, q.want)
		}
	}
	henry, _, _ := strings.Cut(quantity.FormatWithU95(result.L.Value, result.L.U95, quantity.Henry), " ")
	if words := p.text("#result-head .numbers"); !strings.Contains(words, henry) {
		t.Errorf("the page does not show that L is %s, but %s", henry, words)
	}

	p.step("report")
	p.click("#report-write")
	p.await("the link to the report", `document.querySelector("#report-link a")`)
	report := browserrig.Open(t, p.Ctx, browserrig.JS[string](p.Tab, `document.querySelector("#report-link a").href`),
		browserrig.View{})
	if !report.Visible("#magnitude-w .curve") {
		t.Error("the report shows no curve")
	}
	report.Silent()
}

// TestSoundLive: short sweeps over and over through PortAudio show what a take shows. They
// end by themselves when no page looks any more.
func TestSoundLive(t *testing.T) {
	t.Parallel()
	rig := pulserig.Start(t, rigCoil)
	root := t.TempDir()
	card := fmt.Sprintf("schema = \"coilsweep.bench/1\"\n[card]\ninput = %q\noutput = %q\n", pulserig.Input,
		pulserig.Output)
	if err := os.WriteFile(filepath.Join(root, "bench.toml"), []byte(card), 0o666); err != nil {
		t.Fatal(err)
	}
	_, out, said := serveOn(t, rig, root)
	s := newCaller(&served{t: t, url: awaitAddress(t, out, said), said: said}, root)
	events := s.listens()
	s.waits("listening", func() bool { return events.of("engine", "phase") == "listening" })
	s.gets("POST", "/api/live", map[string]any{"options": map[string]any{"level": "-18"}})
	begun := time.Now()
	s.waits("the resonance at -18 dBFS", func() bool {
		hz, _ := events.of("live", "html", "live-resonance").(string)
		played, _ := events.of("live", "html", "live-played").(string)
		return strings.Contains(hz, "Hz") && strings.Contains(played, "−18")
	})
	t.Logf("%v; %v after %.1f s", events.of("live", "html", "live-resonance"), events.of("live", "html", "live-played"),
		time.Since(begun).Seconds())
	s.waits("the end of what nobody looks at", func() bool { return events.of("ended", "kind") == "live" })
	if after := time.Since(begun).Seconds(); after < 10 {
		t.Errorf("live mode ended after %.1f s", after)
	}
	if entries, err := os.ReadDir(root); err != nil || len(entries) != 1 {
		t.Errorf("live mode left %v, %v", entries, err)
	}
}
