package site

import (
	"bufio"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"
)

// Who has no key is told so at once, whatever is still to come of the request, and the
// connection is closed.
func TestRefusedAtOnce(t *testing.T) {
	s := serve(t, Options{})
	for name, request := range map[string]string{
		"half a body":     "POST /api/act HTTP/1.1\r\nHost: " + s.host() + "\r\nContent-Length: 1000\r\n\r\n{",
		"chunks to come":  "POST /api/act HTTP/1.1\r\nHost: " + s.host() + "\r\nTransfer-Encoding: chunked\r\n\r\n5\r\n",
		"nothing to come": "GET /api/see HTTP/1.1\r\nHost: " + s.host() + "\r\n\r\n",
	} {
		c := s.dial(request)
		defer c.Close()
		c.SetDeadline(time.Now().Add(5 * time.Second))
		r := bufio.NewReader(c)
		answer, err := http.ReadResponse(r, nil)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		text, err := io.ReadAll(answer.Body)
		if err != nil || answer.StatusCode != 401 || !strings.Contains(string(text), "the key is missing") {
			t.Errorf("%s: %d %s, %v", name, answer.StatusCode, text, err)
		}
		if _, err := r.ReadByte(); err != io.EOF {
			t.Errorf("%s: the connection is not closed: %v", name, err)
		}
	}
}

// What is wrong with JSON is said in the words of the page, not in those of the program.
func TestWrongJSON(t *testing.T) {
	s := serve(t, Options{})
	for body, says := range map[string]string{
		`{"Text": 3}`:        "Text is a number; want a text",
		`{"Text": ["a"]}`:    "Text is a list; want a text",
		`[1]`:                "the whole is a list; want a group of fields",
		`{"Text": "a" "b"}`:  "it is not JSON from byte 14 on",
		`{"Colour": "a"}`:    `it has no field \"Colour\"`,
		`{"Text": "a`:        "it ends too early",
		``:                   "it ends too early",
		`{"Text": "a"} more`: "more than one value",
	} {
		status, text, _ := s.send(request{"POST", "/api/act", body, "", own()})
		if status != 400 || !strings.Contains(text, says) || strings.Contains(text, "json:") {
			t.Errorf("%s: %d %s, want %q", body, status, text, says)
		}
	}
}
