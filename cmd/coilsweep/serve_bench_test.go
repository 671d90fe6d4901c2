//go:build linux && cgo

package main

import (
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"testing"
	"time"

	"coilsweep/capture/soundcard/pulserig"
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

// BenchmarkPageGuitar measures the answer while a knob is turned, of which the curve on the
// screen is a few milliseconds and a frame of the browser behind.
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

// BenchmarkPageMeters counts how often a browser draws the levels.
func BenchmarkPageMeters(b *testing.B) {
	browser := browserrig.Start(b, 10*time.Minute)
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
