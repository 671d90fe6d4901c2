package site

import (
	"compress/gzip"
	"mime"
	"net/http"
	"strconv"
	"strings"
	"sync"
)

// compressible are the types of answers that get much smaller. The stream of events is not
// among them: what it says is to leave at once.
var compressible = map[string]bool{
	"application/json": true, "text/html": true, "text/css": true, "text/javascript": true, "image/svg+xml": true,
	"text/plain": true,
}

// leastCompressed is what is sent as it is, in bytes: it fits into a packet.
const leastCompressed = 1400

// compress sends what can get much smaller compressed, to who takes that.
func compress(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Add("Vary", "Accept-Encoding")
		if r.Method == http.MethodHead || r.Header.Get("Range") != "" || !takesGzip(r) {
			next.ServeHTTP(w, r)
			return
		}
		c := &compressed{ResponseWriter: w}
		next.ServeHTTP(c, r)
		c.close() // not where next panics: what breaks off is not to look whole
	})
}

func takesGzip(r *http.Request) bool {
	for coding := range strings.SplitSeq(r.Header.Get("Accept-Encoding"), ",") {
		name, weight, _ := strings.Cut(strings.TrimSpace(coding), ";")
		if name == "gzip" && strings.ReplaceAll(weight, " ", "") != "q=0" {
			return true
		}
	}
	return false
}

// compressed decides with the first bytes of an answer.
type compressed struct {
	http.ResponseWriter
	status int
	begun  bool
	to     *gzip.Writer // nil: as it is
}

var gzips = sync.Pool{New: func() any {
	w, _ := gzip.NewWriterLevel(nil, gzip.BestSpeed) // a level that there is
	return w
}}

func (c *compressed) WriteHeader(status int) { c.status = status }

func (c *compressed) Write(data []byte) (int, error) {
	c.begin(len(data))
	if c.to != nil {
		return c.to.Write(data)
	}
	return c.ResponseWriter.Write(data)
}

// begin sends the head of an answer of which so many bytes are there, or all that it says.
func (c *compressed) begin(there int) {
	if c.begun {
		return
	}
	c.begun = true
	h := c.Header()
	if length, err := strconv.Atoi(h.Get("Content-Length")); err == nil {
		there = length
	}
	kind, _, _ := mime.ParseMediaType(h.Get("Content-Type"))
	if compressible[kind] && there >= leastCompressed && h.Get("Content-Encoding") == "" {
		h.Set("Content-Encoding", "gzip")
		h.Del("Content-Length")
		h.Del("Accept-Ranges") // of what is not compressed
		c.to = gzips.Get().(*gzip.Writer)
		c.to.Reset(c.ResponseWriter)
	}
	if c.status != 0 {
		c.ResponseWriter.WriteHeader(c.status)
	}
}

func (c *compressed) close() {
	c.begin(0)
	if c.to != nil {
		c.to.Close()
		gzips.Put(c.to)
	}
}

// FlushError is for http.ResponseController: events leave at once.
func (c *compressed) FlushError() error {
	c.begin(0)
	return http.NewResponseController(c.ResponseWriter).Flush()
}

// Unwrap is for http.ResponseController.
func (c *compressed) Unwrap() http.ResponseWriter { return c.ResponseWriter }
