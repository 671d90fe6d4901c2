package site

import (
	"compress/gzip"
	"errors"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"
)

// What is large and of text goes compressed to who takes that, and is the same; nothing
// else is, and what breaks off does not look whole.
func TestCompressed(t *testing.T) {
	s := serve(t, Options{Fault: func(string) {}})
	long := strings.Repeat("as long as an answer on many coils; ", 4000)
	page := func(end error) Handler {
		return func(w http.ResponseWriter, r *http.Request) error {
			if end != nil {
				io.WriteString(w, long)
				return end
			}
			http.ServeContent(w, r, "", time.Time{}, strings.NewReader(long))
			return nil
		}
	}
	whole, broken, audio := s.Link("1", "whole.html", page(nil)), s.Link("2", "broken.html", page(errors.New("gone"))),
		s.Link("3", "take.wav", page(nil))
	s.Handle("GET", "/api/long", func(w http.ResponseWriter, _ *http.Request) error { return Answer(w, long) })
	ask := func(method, path string, headers ...string) (*http.Response, []byte, error) {
		r, err := http.NewRequest(method, s.base+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		r.Header = own()
		r.Header.Set("Accept-Encoding", "") // nothing by itself
		for i := 0; i < len(headers); i += 2 {
			r.Header.Set(headers[i], headers[i+1])
		}
		answer, err := (&http.Client{Transport: &http.Transport{DisableCompression: true}}).Do(r)
		if err != nil {
			return nil, nil, err
		}
		defer answer.Body.Close()
		body, err := io.ReadAll(answer.Body)
		return answer, body, err
	}
	const accept = "Accept-Encoding"
	for _, tt := range []struct {
		name, path string
		headers    []string
		gzipped    bool
		status     int
	}{
		{"an answer", "/api/long", []string{accept, "gzip, deflate"}, true, 200},
		{"a page", whole, []string{accept, "br;q=1.0, gzip;q=0.8"}, true, 200},
		{"to who says nothing", "/api/long", nil, false, 200},
		{"to who wants none", "/api/long", []string{accept, "gzip;q=0, br"}, false, 200},
		{"a small answer", "/api/see", []string{accept, "gzip"}, false, 200},
		{"a recording", audio, []string{accept, "gzip"}, false, 200},
		{"a part of a page", whole, []string{accept, "gzip", "Range", "bytes=10-5000"}, false, 206},
	} {
		answer, body, err := ask("GET", tt.path, tt.headers...)
		if err != nil {
			t.Fatalf("%s: %v", tt.name, err)
		}
		if answer.StatusCode != tt.status || (answer.Header.Get("Content-Encoding") == "gzip") != tt.gzipped {
			t.Errorf("%s: %d %v, %v", tt.name, answer.StatusCode, answer.Header, err)
			continue
		}
		if !tt.gzipped {
			continue
		}
		sent := len(body)
		unpacked, err := gzip.NewReader(strings.NewReader(string(body)))
		if err == nil {
			body, err = io.ReadAll(unpacked)
		}
		if err != nil || !strings.Contains(string(body), long) || sent > len(long)/20 {
			t.Errorf("%s: %d bytes became %d, %v", tt.name, sent, len(body), err)
		}
	}
	if _, body, err := ask("GET", broken, accept, "gzip"); err == nil {
		t.Errorf("a page that broke off looks whole, with %d bytes", len(body))
	}
	if answer, body, err := ask("HEAD", whole, accept, "gzip"); err != nil || len(body) > 0 || answer.StatusCode != 200 {
		t.Errorf("HEAD: %d %v", answer.StatusCode, err)
	}
}
