//go:build linux && cgo

package main

import (
	"fmt"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/chromedp/chromedp/kb"

	"coilsweep/capture/soundcard/pulserig"
	"coilsweep/excite"
	"coilsweep/report/browserrig"
)

// BenchmarkPageTake measures the time from the request of a take, through
// PortAudio while the page listens, to its first block in the folder.
func BenchmarkPageTake(b *testing.B) {
	rig := pulserig.Start(b, rigCoil)
	root := b.TempDir()
	card := fmt.Sprintf("schema = \"coilsweep.bench/1\"\n[card]\ninput = %q\noutput = %q\n", pulserig.Input,
		pulserig.Output)
	if err := os.WriteFile(filepath.Join(root, "bench.toml"), []byte(card), 0o666); err != nil {
		b.Fatal(err)
	}
	mustRun(b, "new", filepath.Join(root, "coil"))
	_, out, said := serveOn(b, rig, root)
	s := newCaller(&served{t: b, url: awaitAddress(b, out, said), said: said}, root)
	events := s.listens()
	var slowest time.Duration
	takes := 0
	for b.Loop() {
		b.StopTimer()
		s.waits("listening", func() bool { return events.of("engine", "phase") == "listening" })
		// Not in step with the driver's blocks.
		time.Sleep(time.Second + time.Duration(b.Elapsed())%(150*time.Millisecond))
		takes++
		name := fmt.Sprint("t", takes)
		b.StartTimer()
		begin := time.Now()
		if status, v := s.asks("POST", "/api/takes",
			map[string]any{"coil": "coil",
				"options": map[string]string{"take": name, "duration": "0.35",
					"repeats": "1"}}); status != http.StatusAccepted {
			b.Fatalf("%d %v", status, v)
		}
		const header = 1024 // more than a WAV file's, less than a block
		for size(filepath.Join(root, "coil", "takes", name+".partial", "capture.wav")) < header {
			if time.Since(begin) > patience {
				b.Fatalf("take %s does not begin: %s", name, said)
			}
			time.Sleep(time.Millisecond)
		}
		slowest = max(slowest, time.Since(begin))
		b.StopTimer()
		s.waits("the end of the take", func() bool { return events.of("ended", "take") == name })
		b.StartTimer()
	}
	b.ReportMetric(float64(slowest.Milliseconds()), "ms/slowest")
}

// BenchmarkPageGuitar measures the answer while a knob is turned.
func BenchmarkPageGuitar(b *testing.B) {
	root := b.TempDir()
	fittedCoil(b, root, "a", twoTakes)
	s := newCaller(startServe(b, root, "--bench", "virtual"), root)
	for i := 0; b.Loop(); i++ {
		s.gets("POST", "/api/guitar", map[string]any{"coils": []string{"a"}, "options": map[string]string{
			"volume": "500k", "volume-at": fmt.Sprint(float64(i%100) / 10), "tone": "500k", "tone-c": "22n",
			"cable-length": "5", "amp": "1M"}})
	}
}

// BenchmarkPageKnobs measures in a browser what a hand at a knob waits for: from the event
// of the volume or the tone knob until the curve that belongs to it is painted.
func BenchmarkPageKnobs(b *testing.B) {
	root := b.TempDir()
	fittedCoil(b, root, "a", twoTakes)
	browser := browserrig.Start(b, browserLife)
	p := startServe(b, root, "--bench", "virtual").open(browser, browserrig.View{Width: 1440, Height: 900})
	p.step("guitar")
	p.await("the curve", `document.querySelector("#guitar-figure .curve")`)
	var waits []float64
	for b.Loop() {
		waits = append(waits, browserrig.JS[[]float64](p.Tab, `(async () => {
			const painted = () => new Promise((done) => requestAnimationFrame(() => {
				const { port1, port2 } = new MessageChannel();
				port1.onmessage = () => done(performance.now());
				port2.postMessage(0);
			}));
			const waits = [], figure = document.getElementById("guitar-figure");
			for (let i = 0; i < 40; i++) {
				const input = document.getElementById(i % 2 ? "g-tone-at" : "g-volume-at");
				await new Promise((done) => setTimeout(done, 20 + 37 * i % 90)); // not in step with frames
				const begin = performance.now();
				const redrawn = new Promise((done) => {
					const seen = new MutationObserver(() => { seen.disconnect(); done(); });
					seen.observe(figure, { childList: true, subtree: true, attributes: true });
				});
				input.value = 4 + (i * 1.3) % 6;
				input.dispatchEvent(new Event("input", { bubbles: true }));
				await redrawn;
				waits.push(await painted() - begin);
			}
			return waits; })()`)...)
	}
	slices.Sort(waits)
	b.ReportMetric(waits[len(waits)/2], "ms/median")
	b.ReportMetric(waits[len(waits)*95/100], "ms/p95")
}

// BenchmarkPageMeters counts how often a browser draws the levels.
func BenchmarkPageMeters(b *testing.B) {
	browser := browserrig.Start(b, browserLife)
	p := startServe(b, b.TempDir(), "--bench", "virtual").open(browser, browserrig.View{})
	p.says("#phase", "listening")
	drawn := func() float64 { return browserrig.JS[float64](p.Tab, `document.getElementById("bench-meters").drawn`) }
	frames, seconds := 0.0, 0.0
	for b.Loop() {
		begin, before := time.Now(), drawn()
		time.Sleep(2 * time.Second)
		frames += drawn() - before
		seconds += time.Since(begin).Seconds()
	}
	b.ReportMetric(frames/seconds, "frames/s")
}

// BenchmarkPageStage measures what somebody waits for who opens the page on an empty folder
// and makes a first take: seconds from the opening to the take, from Start to the first
// curve, and from the end of each sweep, as it is played, to its number (median and
// slowest; 0.04 s of it are the way through the simulated sound card); how much the layout shifts through the take; and bytes: of the page, and of a take but
// for the events.
func BenchmarkPageStage(b *testing.B) {
	browser := browserrig.Start(b, browserLife)
	sums := map[string]float64{}
	var waits []float64
	n := 0.0
	for b.Loop() {
		n++
		s := startServe(b, b.TempDir(), "--bench", "virtual") // in the time that a real bench takes
		begin := time.Now()
		p := s.open(browser, browserrig.View{Width: 1440, Height: 900})
		p.await("the field for the name", `document.activeElement.id === "n-name"`)
		const bytes = `[...performance.getEntriesByType("navigation"), ...performance.getEntriesByType("resource")]
			.reduce((sum, e) => sum + e.encodedBodySize, 0)`
		opened := browserrig.JS[float64](p.Tab, bytes)
		p.press("Neck" + kb.Enter)
		p.await("the takes", `!document.getElementById("takes").hidden && !document.querySelector("#go").disabled`)
		browserrig.JS[any](p.Tab, shifts)
		browserrig.JS[any](p.Tab, `import("/state.js").then(({on}) => {
			window.seen = {curve: 0, sweeps: {}, numbers: {}};
			document.addEventListener("keydown", () => { seen.start = performance.now(); });
			on("progress", p => { if (p?.repeat) seen.sweeps[p.repeat] ??= performance.now(); });
			on("sweep", s => { if (s.repeats) seen.numbers[s.repeats] ??= performance.now(); });
			new MutationObserver(() => { if (!seen.curve && document.querySelector("#sweep-figure .curve"))
				seen.curve = performance.now(); }).observe(document.getElementById("sweep-panel"), {childList: true, subtree: true});
			return null; })`)
		p.press(" ")
		p.says("#stage-state", "Sweep 1")
		sums["s/first-take"] += time.Since(begin).Seconds()
		p.says("#stage-state", "Kept")
		p.await("the numbers of the fit", `!document.getElementById("stage-result").hidden`)
		seen := browserrig.JS[struct {
			Start, Curve    float64
			Sweeps, Numbers map[int]float64
		}](p.Tab, `seen`)
		sums["s/first-curve"] += (seen.Curve - seen.Start) / 1000
		request := excite.DefaultRequest()
		stimulus, err := excite.Design(request)
		if err != nil {
			b.Fatal(err)
		}
		// Progress is told ten times a second: the first sweep began no later than by what
		// any of them says.
		began := math.Inf(1)
		for k, ms := range seen.Sweeps {
			began = min(began, ms/1000-float64(k-1)*stimulus.PeriodS())
		}
		for k := 1; k <= request.Repeats; k++ {
			if seen.Numbers[k] == 0 {
				b.Errorf("sweep %d has no number", k)
			}
			late := seen.Numbers[k]/1000 - began - float64(k-1)*stimulus.PeriodS() -
				float64(stimulus.SweepSamples)/float64(stimulus.RateHz)
			waits = append(waits, late)
		}
		sums["shift"] += browserrig.JS[float64](p.Tab, `shifted`)
		sums["B/page"] += opened
		sums["B/take"] += browserrig.JS[float64](p.Tab, bytes) - opened
		p.Close()
		s.close()
	}
	slices.Sort(waits)
	b.ReportMetric(waits[len(waits)/2], "s/number")
	b.ReportMetric(waits[len(waits)-1], "s/slowest-number")
	for unit, sum := range sums {
		b.ReportMetric(sum/n, unit)
	}
}
