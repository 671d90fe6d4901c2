package site

import (
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"sync"
	"time"
)

// Events tells all open pages of the latest value of each topic. A page that
// joins hears all topics; one that is slow misses what came in between, never
// the latest. What is kept for each page is bounded by the number of topics.
type Events struct {
	lock    sync.Mutex
	latest  map[string][]byte
	order   []string // topics as they first came
	readers map[*reader]bool
	waits   waits
	fault   func(string)
}

const maxReaders = 16

// reader is one page that listens.
type reader struct {
	pending []string
	wake    chan struct{} // holds one
	since   time.Time
	gone    chan struct{} // closed when another page has its place
}

func newEvents(w waits, fault func(string)) *Events {
	return &Events{latest: map[string][]byte{}, readers: map[*reader]bool{}, waits: w, fault: fault}
}

// Publish makes v the latest value of topic. What cannot be written as JSON, such
// as an infinite level, is not published.
func (e *Events) Publish(topic string, v any) {
	data, err := json.Marshal(v)
	if err != nil {
		e.fault(fmt.Sprintf("event %s: %v", topic, err))
		return
	}
	e.lock.Lock()
	defer e.lock.Unlock()
	if _, known := e.latest[topic]; !known {
		e.order = append(e.order, topic)
	}
	e.latest[topic] = data
	for r := range e.readers {
		r.notice(topic)
	}
}

// notice marks topics as to be sent. The lock is held.
func (r *reader) notice(topics ...string) {
	for _, topic := range topics {
		if !slices.Contains(r.pending, topic) {
			r.pending = append(r.pending, topic)
		}
	}
	select {
	case r.wake <- struct{}{}:
	default:
	}
}

// join adds a reader that is to hear everything; nil: there are too many. Where all
// places are taken it has that of the page that is there longest, if that is there for a
// while: it may have stopped reading long ago, which nobody can tell; if not, it comes
// again.
func (e *Events) join() *reader {
	e.lock.Lock()
	defer e.lock.Unlock()
	if len(e.readers) >= maxReaders {
		oldest := slices.MinFunc(slices.Collect(maps.Keys(e.readers)), func(a, b *reader) int {
			return a.since.Compare(b.since)
		})
		if time.Since(oldest.since) < e.waits.place {
			return nil
		}
		delete(e.readers, oldest)
		close(oldest.gone)
	}
	r := &reader{wake: make(chan struct{}, 1), since: time.Now(), gone: make(chan struct{})}
	e.readers[r] = true
	r.notice(e.order...)
	return r
}

func (e *Events) leave(r *reader) {
	e.lock.Lock()
	defer e.lock.Unlock()
	delete(e.readers, r)
}

// take is what is to be sent, as text of the stream.
func (e *Events) take(r *reader) []byte {
	e.lock.Lock()
	defer e.lock.Unlock()
	var text []byte
	for _, topic := range r.pending {
		text = fmt.Appendf(text, "event: %s\ndata: %s\n\n", topic, e.latest[topic])
	}
	r.pending = r.pending[:0]
	return text
}

// ServeHTTP streams the events in the format of server-sent events (WHATWG
// HTML, 9.2) until the page goes or the server stops.
func (e *Events) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	me := e.join()
	if me == nil {
		writeError(w, &Error{Status: http.StatusServiceUnavailable,
			Text: fmt.Sprintf("%d pages are open already: close some", maxReaders)})
		return
	}
	defer e.leave(me)
	w.Header().Set("Content-Type", "text/event-stream")
	out := http.NewResponseController(w)
	alive := time.NewTicker(e.waits.alive) // so that a lost line shows
	defer alive.Stop()
	for {
		text := []byte(": alive\n\n")
		select {
		case <-r.Context().Done():
			// To a page that is still there: the program ends. Anything else is a lost line.
			if out.SetWriteDeadline(time.Now().Add(e.waits.write)) == nil {
				fmt.Fprint(w, "event: closing\ndata: true\n\n")
				out.Flush()
			}
			return
		case <-me.gone:
			return
		case <-me.wake:
			text = e.take(me)
		case <-alive.C:
		}
		if out.SetWriteDeadline(time.Now().Add(e.waits.write)) != nil {
			return
		}
		if _, err := w.Write(text); err != nil || out.Flush() != nil {
			return
		}
	}
}
