package benchpage

import (
	"bufio"
	"context"
	"net/http"
	"strings"
	"testing"
	"time"
)

// hear opens the stream and gives its events as "topic data".
func (s *serving) hear() (lines <-chan string, leave func()) {
	s.t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	r, err := http.NewRequestWithContext(ctx, "GET", s.base+"/api/events", nil)
	if err != nil {
		s.t.Fatal(err)
	}
	r.Header = own()
	response, err := http.DefaultClient.Do(r)
	if err != nil {
		s.t.Fatal(err)
	}
	if response.StatusCode != 200 || response.Header.Get("Content-Type") != "text/event-stream" {
		s.t.Fatalf("events: %s, %s", response.Status, response.Header.Get("Content-Type"))
	}
	heard := make(chan string)
	go func() {
		defer close(heard)
		defer response.Body.Close()
		topic := ""
		for in := bufio.NewScanner(response.Body); in.Scan(); {
			if name, ok := strings.CutPrefix(in.Text(), "event: "); ok {
				topic = name
			} else if data, ok := strings.CutPrefix(in.Text(), "data: "); ok {
				heard <- topic + " " + data
			}
		}
	}()
	return heard, cancel
}

func want(t *testing.T, heard <-chan string, wanted string) {
	t.Helper()
	select {
	case got, open := <-heard:
		if got != wanted {
			t.Fatalf("heard %q (open: %v), want %q", got, open, wanted)
		}
	case <-time.After(20 * time.Second):
		t.Fatalf("heard nothing, want %q", wanted)
	}
}

func TestEventsReachAllPages(t *testing.T) {
	s := serve(t, Options{})
	s.Events().Publish("engine", map[string]string{"phase": "off"})
	s.Events().Publish("engine", map[string]string{"phase": "listening"})
	s.Events().Publish("coils", 1)
	a, leaveA := s.hear()
	defer leaveA()
	want(t, a, `engine {"phase":"listening"}`)
	want(t, a, "coils 1")
	b, leaveB := s.hear()
	defer leaveB()
	want(t, b, `engine {"phase":"listening"}`)
	want(t, b, "coils 1")
	s.Events().Publish("coils", "2\nevent: forged")
	want(t, a, `coils "2\nevent: forged"`)
	want(t, b, `coils "2\nevent: forged"`)
}

// TestSlowPage: a page that does not read gets the latest when it does, and
// what is kept for it does not grow.
func TestSlowPage(t *testing.T) {
	e := newEvents()
	slow := e.join()
	for i := range 100_000 {
		e.Publish("meters", i)
		e.Publish("engine", -i)
	}
	if len(slow.pending) != 2 || cap(slow.pending) > 8 {
		t.Errorf("%d events wait, room for %d", len(slow.pending), cap(slow.pending))
	}
	if got, want := string(e.take(slow)), "event: meters\ndata: 99999\n\nevent: engine\ndata: -99999\n\n"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestTooManyPages(t *testing.T) {
	s := serve(t, Options{})
	s.Events().Publish("engine", 1)
	var leave func()
	for range maxReaders {
		heard, l := s.hear()
		defer l()
		want(t, heard, "engine 1")
		leave = l
	}
	if status, text, _ := s.send(request{"GET", "/api/events", "", "", own()}); status != 503 || !strings.Contains(text, "close some") {
		t.Errorf("one more: %d %s", status, text)
	}
	leave()
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(10 * time.Millisecond) {
		s.events.lock.Lock()
		n := len(s.events.readers)
		s.events.lock.Unlock()
		if n < maxReaders {
			return
		}
		if time.Now().After(deadline) {
			t.Fatal("a page that left is kept")
		}
	}
}

// TestStopWithPagesOpen: open streams do not keep the server.
func TestStopWithPagesOpen(t *testing.T) {
	server, err := New(Options{Root: t.TempDir(), Listen: "127.0.0.1:0", Key: testKey})
	if err != nil {
		t.Fatal(err)
	}
	s := &serving{Server: server, t: t, base: "http://" + server.listener.Addr().String()}
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error)
	go func() { ended <- s.Serve(ctx) }()
	s.Events().Publish("engine", 1)
	heard, leave := s.hear()
	defer leave()
	want(t, heard, "engine 1")
	stop()
	select {
	case err := <-ended:
		if err != nil {
			t.Error(err)
		}
	case <-time.After(stopWait + 20*time.Second):
		t.Fatal("it goes on")
	}
	if _, open := <-heard; open {
		t.Error("the stream goes on")
	}
}
