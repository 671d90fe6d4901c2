package site

import (
	"bufio"
	"context"
	"errors"
	"io"
	"math"
	"net"
	"net/http"
	"os"
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
	e := newEvents(usualWaits, nil)
	slow := e.join()
	for i := range 20_000 {
		e.Publish("meters", i)
		e.Publish("engine", -i)
	}
	if len(slow.pending) != 2 || cap(slow.pending) > 8 {
		t.Errorf("%d events wait, room for %d", len(slow.pending), cap(slow.pending))
	}
	if got, want := string(e.take(slow)), "event: meters\ndata: 19999\n\nevent: engine\ndata: -19999\n\n"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

// TestPageThatNeverReads: once nothing more goes into its connection, it is cut.
func TestPageThatNeverReads(t *testing.T) {
	impatient := usualWaits
	impatient.write = 100 * time.Millisecond
	s := serve(t, Options{waits: impatient})
	c := s.dial("GET /api/events HTTP/1.1\r\nHost: " + s.host() + "\r\n" + KeyHeader + ": " + testKey + "\r\n\r\n")
	defer c.Close()
	s.waitForReaders(1)
	stop := make(chan struct{})
	defer close(stop)
	go func() {
		for large := strings.Repeat("x", 1<<20); ; time.Sleep(time.Millisecond) {
			select {
			case <-stop:
				return
			default:
				s.Events().Publish("sweep", large)
			}
		}
	}()
	s.waitForReaders(0)
}

// TestAlive: a comment comes where nothing happens.
func TestAlive(t *testing.T) {
	often := usualWaits
	often.alive = time.Millisecond
	s := serve(t, Options{waits: often})
	c := s.dial("GET /api/events HTTP/1.1\r\nHost: " + s.host() + "\r\n" + KeyHeader + ": " + testKey + "\r\n\r\n")
	defer c.Close()
	for in := bufio.NewScanner(c); in.Scan(); {
		if in.Text() == ": alive" {
			return
		}
	}
	t.Error("no comment came")
}

// TestEventThatIsNoJSON: it is told, and the latest before it stays.
func TestEventThatIsNoJSON(t *testing.T) {
	told := ""
	e := newEvents(usualWaits, func(text string) { told = text })
	e.Publish("meters", -12.5)
	e.Publish("meters", math.Inf(-1))
	if got := string(e.take(e.join())); got != "event: meters\ndata: -12.5\n\n" || !strings.Contains(told, "meters") {
		t.Errorf("got %q, told %q", got, told)
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
	if status, text, _ := s.send(request{"GET", "/api/events", "", "", own()}); status != 503 ||
		!strings.Contains(text, "close some") {
		t.Errorf("one more: %d %s", status, text)
	}
	leave()
	s.waitForReaders(maxReaders - 1)
}

// Pages that do not read what is sent to them keep no other page out for longer than a
// while.
func TestEventsOfSilentPages(t *testing.T) {
	waits := usualWaits
	waits.place = 100 * time.Millisecond
	s := serve(t, Options{waits: waits})
	s.Events().Publish("engine", 1)
	for range 2 * maxReaders {
		c := s.dial("GET /api/events HTTP/1.1\r\nHost: " + s.host() + "\r\n" + KeyHeader + ": " + testKey + "\r\n\r\n")
		defer c.Close()
	}
	s.waitForReaders(maxReaders)
	time.Sleep(2 * waits.place)
	heard, leave := s.hear()
	defer leave()
	want(t, heard, "engine 1")
	s.Events().Publish("engine", 2)
	want(t, heard, "engine 2")
	s.waitForReaders(maxReaders)
}

// waitForReaders waits until so many pages listen.
func (s *serving) waitForReaders(wanted int) {
	s.t.Helper()
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(time.Millisecond) {
		s.events.lock.Lock()
		n := len(s.events.readers)
		s.events.lock.Unlock()
		if n == wanted {
			return
		}
		if time.Now().After(deadline) {
			s.t.Fatalf("%d pages are kept, want %d", n, wanted)
		}
	}
}

// TestStop: open streams end by themselves, within the time that calls have to
// end; calls that do not are cut off.
func TestStop(t *testing.T) {
	if usualWaits.stop >= time.Second {
		t.Error("usually it takes longer than a second")
	}
	for name, hang := range map[string]bool{"streams": false, "a call that hangs": true} {
		w := usualWaits
		w.stop = time.Minute // longer than the test waits: streams must end without it
		if hang {
			w.stop = 50 * time.Millisecond
		}
		s := serve(t, Options{waits: w})
		s.Events().Publish("engine", 1)
		heard, leave := s.hear()
		defer leave()
		want(t, heard, "engine 1")
		var cut net.Conn
		if hang {
			cut = s.dial("POST /api/act HTTP/1.1\r\nHost: " + s.host() + "\r\n" + KeyHeader + ": " + testKey +
				"\r\nContent-Type: application/json\r\nContent-Length: 2\r\n\r\n{")
			defer cut.Close()
			for s.called.Load() == 0 {
				time.Sleep(time.Millisecond)
			}
		}
		s.stop()
		select {
		case <-s.ended:
		case <-time.After(20 * time.Second):
			t.Fatalf("%s: it goes on", name)
		}
		want(t, heard, "closing true")
		if _, open := <-heard; open {
			t.Errorf("%s: the stream goes on", name)
		}
		if hang {
			if _, err := io.ReadAll(cut); errors.Is(err, os.ErrDeadlineExceeded) {
				t.Error("the call that hangs is not cut off")
			}
		}
	}
}
