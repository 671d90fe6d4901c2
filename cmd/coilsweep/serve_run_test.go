package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"coilsweep/capture/virtual"
	"coilsweep/cmd/coilsweep/internal/cli"
)

// patience is how long a test waits for what must come, on a slow machine.
const patience = 90 * time.Second

// browserLife is how long a browser may be there: the parts of a test wait for their turn.
const browserLife = 25 * time.Minute

// served is 'coilsweep serve' at work.
type served struct {
	t      testing.TB
	url    string // with the key
	stop   context.CancelFunc
	ended  chan int
	said   *heard
	status int
}

// heard collects what a program prints.
type heard struct {
	lock sync.Mutex
	b    bytes.Buffer
}

func (h *heard) Write(p []byte) (int, error) {
	h.lock.Lock()
	defer h.lock.Unlock()
	return h.b.Write(p)
}

func (h *heard) String() string {
	h.lock.Lock()
	defer h.lock.Unlock()
	return h.b.String()
}

// startServe starts the bench page for root and waits for its address.
func startServe(t testing.TB, root string, args ...string) *served {
	t.Helper()
	ctx, stop := context.WithCancel(context.Background())
	s := &served{t: t, stop: stop, ended: make(chan int, 1), said: &heard{}}
	out := &heard{}
	go func() {
		s.ended <- cli.Run(ctx, append([]string{"serve", root, "--listen", "127.0.0.1:0"}, args...), nil, out, s.said)
	}()
	s.url = awaitAddress(t, out, s.said)
	t.Cleanup(s.close)
	return s
}

func awaitAddress(t testing.TB, out, said *heard) string {
	t.Helper()
	for deadline := time.Now().Add(patience); time.Now().Before(deadline); time.Sleep(5 * time.Millisecond) {
		if line, whole := strings.CutSuffix(out.String(), "\n"); whole {
			return line
		}
	}
	t.Fatalf("serve printed no address; it said: %s", said)
	return ""
}

// close ends the program as Ctrl-C does.
func (s *served) close() {
	if s.stop == nil {
		return
	}
	s.stop()
	s.stop = nil
	select {
	case s.status = <-s.ended:
		if s.status != 0 {
			s.t.Errorf("serve ended with status %d: %s", s.status, s.said)
		}
	case <-time.After(patience):
		s.t.Errorf("serve does not end; it said: %s", s.said)
	}
}

// base is the address of the page without the key.
func (s *served) base() string { return s.url[:strings.Index(s.url, "#")] }

// fast is the description of a simulated bench that takes no longer than it
// takes to work out.
func fast(t *testing.T, dir string) string {
	t.Helper()
	return benchTextFile(t, dir, virtual.DefaultText())
}

func benchTextFile(t *testing.T, dir, text string) string {
	t.Helper()
	path := filepath.Join(dir, "virtual.toml")
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}
