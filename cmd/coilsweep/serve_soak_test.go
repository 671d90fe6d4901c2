package main

import (
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"coilsweep/capture"
	"coilsweep/fit/evaluation"
)

// footprint is what a program holds.
type footprint struct {
	heap              uint64 // bytes, after the garbage is gone
	goroutines, files int    // files that are open, where the system lists them
}

func (f footprint) String() string {
	return fmt.Sprintf("heap %.1f MiB, %d goroutines, %d open files", float64(f.heap)/(1<<20), f.goroutines, f.files)
}

// measureFootprint waits until what has ended is gone, too.
func measureFootprint(t *testing.T) footprint {
	t.Helper()
	var f footprint
	for same, deadline := 0, time.Now().Add(patience); same < 5; time.Sleep(50 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("the number of goroutines or files does not settle; last %v", f)
		}
		http.DefaultClient.CloseIdleConnections()
		files, _ := os.ReadDir("/proc/self/fd")
		now := footprint{goroutines: runtime.NumGoroutine(), files: len(files)}
		if same++; now != f {
			f, same = now, 0
		}
	}
	runtime.GC()
	runtime.GC() // what finalizers let go
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	f.heap = m.HeapAlloc
	return f
}

// TestServeSoak makes take upon take over HTTP, while a page listens and two
// others read all the time: no take is lost, and the program grows no larger.
// COILSWEEP_SOAK is the number of takes ('make soak': 500).
func TestServeSoak(t *testing.T) {
	takes := 5
	if text := os.Getenv("COILSWEEP_SOAK"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil || n < 5 {
			t.Fatalf("COILSWEEP_SOAK is %q, want a number of takes from 5", text)
		}
		takes = n
	}
	// More coils than the page keeps in memory, once there are takes for all.
	coils := max(1, min(12, takes/20))
	names := []map[string]any{{"take": "bare"}, {"take": "c470", "added-c": "470p 1%"}}
	s := serve(t, t.TempDir(), false)
	coil := func(take int) string { return fmt.Sprintf("coil%d", take%coils) }
	for i := range coils {
		s.gets("POST", "/api/coils", map[string]any{"coil": coil(i), "options": map[string]string{"name": coil(i), "dcr": "7.85k@20C 0.5%"}})
	}
	events := s.listens()

	var at, reads atomic.Int64 // the take that is made; answers to the readers
	var gate sync.RWMutex      // held while the footprint is measured
	ended := make(chan struct{})
	var readers sync.WaitGroup
	defer readers.Wait()
	defer close(ended)
	for range 2 {
		readers.Go(func() {
			for {
				for _, path := range []string{"/api/coils", "/api/coil?coil=", "/api/result?coil=", "/api/next?coil=", "/api/sweep", "/api/bench"} {
					select {
					case <-ended:
						return
					case <-time.After(20 * time.Millisecond):
					}
					if path[len(path)-1] == '=' {
						path += coil(int(at.Load()))
					}
					gate.RLock()
					status, v := s.asks("GET", path, nil)
					gate.RUnlock()
					if status != http.StatusOK {
						t.Errorf("%s: %d %v", path, status, v)
						return
					}
					reads.Add(1)
				}
			}
		})
	}
	footprintNow := func() footprint {
		gate.Lock()
		defer gate.Unlock()
		for i := range coils {
			s.waits("the fit of "+coil(i), func() bool { return s.gets("GET", "/api/result?coil="+coil(i), nil)["state"] == "fresh" })
		}
		s.waits("listening", func() bool { return events.of("engine", "phase") == "listening" })
		return measureFootprint(t)
	}

	begin := time.Now()
	var half footprint
	for i := range takes {
		at.Store(int64(i))
		options := map[string]any{"duration": "0.35", "repeats": "2", "redo": "true"}
		for k, v := range names[i/coils%2] {
			options[k] = v
		}
		s.gets("POST", "/api/takes", map[string]any{"coil": coil(i), "options": options})
		s.waits("the end of the take", func() bool { return events.of("ended", "id") == float64(i+1) })
		if outcome, text := events.of("ended", "outcome"), events.of("ended", "text"); outcome != "done" {
			t.Fatalf("take %d of %d, %v of %s: %v: %v", i+1, takes, options["take"], coil(i), outcome, text)
		}
		if i+1 == max(2*coils, takes/2) {
			half = footprintNow()
		}
	}
	took := time.Since(begin)
	end := footprintNow()
	t.Logf("%d takes of %d coils in %.1f s beside %d answers to readers and %d levels; at half: %v; at the end: %v",
		takes, coils, took.Seconds(), reads.Load(), events.heard("meters"), half, end)
	if end.goroutines > half.goroutines || end.files > half.files {
		t.Errorf("the program holds %v, %v at half", end, half)
	}
	// What it keeps of each take, less than a page.
	if limit := half.heap + 1<<20 + uint64(takes/2)*4096; end.heap > limit {
		t.Errorf("the heap is %d bytes, %d at half", end.heap, half.heap)
	}

	kept := 0
	for i := range coils {
		folder, err := capture.OpenFolder(filepath.Join(s.root, coil(i)))
		if err != nil {
			t.Fatal(err)
		}
		made, unreadable, err := evaluation.ReadTakes(folder, nil)
		if err != nil || len(unreadable) > 0 {
			t.Fatalf("%s: %v %v", coil(i), unreadable, err)
		}
		for _, take := range made {
			if _, err := folder.Audio(take); err != nil { // checks its SHA-256
				t.Error(err)
			}
		}
		aside, err := folder.Aside()
		if err != nil {
			t.Fatal(err)
		}
		for _, a := range aside {
			if size(filepath.Join(folder.Dir, "takes", a.Name, "take.toml")) <= 0 || size(filepath.Join(folder.Dir, "takes", a.Name, "capture.wav")) <= 0 {
				t.Errorf("%s of %s is not whole", a.Name, coil(i))
			}
		}
		if partials, err := folder.Partials(); err != nil || len(partials) > 0 {
			t.Errorf("%s has unfinished recordings %v (%v)", coil(i), partials, err)
		}
		kept += len(made) + len(aside)
	}
	if kept != takes {
		t.Errorf("%d takes lie in the folders, %d were made", kept, takes)
	}
}

// heard is how often a topic was told.
func (e *pageEvents) heard(topic string) int {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.count[topic]
}
