package site

import (
	"bufio"
	"context"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"testing/fstest"
	"time"
)

const testKey = "abcdefghijklmnopqrstuvwxyz"

// serving is a server at work, with a call that counts how often it was made.
type serving struct {
	*Server
	t      *testing.T
	base   string
	called atomic.Int32
	stop   func()
	ended  chan struct{} // closed when Serve has
}

// host is the server's own Host.
func (s *serving) host() string { return s.listener.Addr().String() }

// dial sends text as it is, which a client that keeps to the rules would not.
func (s *serving) dial(text string) net.Conn {
	s.t.Helper()
	c, err := net.Dial("tcp", s.host())
	if err == nil {
		err = c.SetDeadline(time.Now().Add(20 * time.Second))
	}
	if err == nil {
		_, err = io.WriteString(c, text)
	}
	if err != nil {
		s.t.Fatal(err)
	}
	return c
}

// status is the answer's to text.
func (s *serving) status(text string) int {
	s.t.Helper()
	c := s.dial(text)
	defer c.Close()
	response, err := http.ReadResponse(bufio.NewReader(c), nil)
	if err != nil {
		s.t.Fatalf("%.200q: %v", text, err)
	}
	return response.StatusCode
}

func serve(t *testing.T, o Options) *serving {
	t.Helper()
	if o.Root == "" {
		o.Root = t.TempDir()
	}
	o.Listen, o.Key = "127.0.0.1:0", testKey
	server, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	s := &serving{Server: server, t: t, base: "http://" + server.listener.Addr().String()}
	s.Handle("POST", "/api/act", func(w http.ResponseWriter, r *http.Request) error {
		s.called.Add(1)
		var body struct{ Text string }
		if err := Decode(r, &body); err != nil {
			return err
		}
		return Answer(w, body)
	})
	s.Handle("GET", "/api/see", func(w http.ResponseWriter, r *http.Request) error { return Answer(w, "seen") })
	s.Handle("GET", "/api/panic", func(http.ResponseWriter, *http.Request) error { panic("a bug") })
	s.Handle("GET", "/api/busy", func(http.ResponseWriter, *http.Request) error {
		return &Error{Status: http.StatusConflict, Text: "the bench is busy", Running: "take a"}
	})
	ctx, stop := context.WithCancel(context.Background())
	s.stop, s.ended = stop, make(chan struct{})
	go func() {
		defer close(s.ended)
		if err := s.Serve(ctx); err != nil {
			t.Errorf("Serve: %v", err)
		}
	}()
	t.Cleanup(func() {
		stop()
		select {
		case <-s.ended:
		case <-time.After(20 * time.Second):
			t.Error("Serve does not end")
		}
	})
	return s
}

// request is what an attacker, or the page, sends.
type request struct {
	method, path, body string
	host               string
	header             http.Header
}

func (s *serving) send(q request) (status int, text string, header http.Header) {
	s.t.Helper()
	r, err := http.NewRequest(q.method, s.base+q.path, strings.NewReader(q.body))
	if err != nil {
		s.t.Fatal(err)
	}
	if q.host != "" {
		r.Host = q.host
	}
	for name, values := range q.header {
		r.Header[name] = values
	}
	response, err := http.DefaultClient.Do(r)
	if err != nil {
		s.t.Fatal(err)
	}
	defer response.Body.Close()
	data, err := io.ReadAll(response.Body)
	if err != nil {
		s.t.Fatal(err)
	}
	return response.StatusCode, string(data), response.Header
}

// own is the header of a call of the page itself.
func own(more ...string) http.Header {
	h := http.Header{}
	h.Set(KeyHeader, testKey)
	h.Set("Content-Type", "application/json")
	for i := 0; i < len(more); i += 2 {
		if more[i+1] == "" {
			h.Del(more[i])
			continue
		}
		h.Set(more[i], more[i+1])
	}
	return h
}

// TestGuard attacks each guard alone: all else about the call is right.
func TestGuard(t *testing.T) {
	s := serve(t, Options{Hosts: []string{"bench.local"}})
	port := s.base[strings.LastIndex(s.base, ":"):]
	act := func(host string, h http.Header) request {
		return request{"POST", "/api/act", `{"Text":"x"}`, host, h}
	}
	for _, test := range []struct {
		name string
		send request
		want int
	}{
		{"the page itself", act("", own()), 200},
		{"the page, as browsers send it", act("", own("Origin", s.base, "Sec-Fetch-Site", "same-origin")), 200},
		{"by the name localhost", act("localhost"+port, own("Origin", "http://localhost"+port)), 200},
		{"by a name that was allowed", act("Bench.local"+port, own()), 200},
		{"type with parameter", act("", own("Content-Type", "application/json; charset=utf-8")), 200},

		{"name of another site that points here", act("evil.example"+port, own()), 421},
		{"our name in theirs", act("127.0.0.1.evil.example"+port, own()), 421},
		{"another port", act("127.0.0.1:1", own()), 421},
		{"no port", act("127.0.0.1", own()), 421},
		{"another site's name, for files", request{"GET", "/", "", "evil.example" + port, nil}, 421},

		{"no key", act("", own(KeyHeader, "")), 401},
		{"another key", act("", own(KeyHeader, "bbcdefghijklmnopqrstuvwxyz")), 401},
		{"part of the key", act("", own(KeyHeader, testKey[:20])), 401},
		{"key in the query", request{"POST", "/api/act?key=" + testKey, "{}", "", own(KeyHeader, "")}, 401},
		{"key as a cookie", act("", own(KeyHeader, "", "Cookie", "key="+testKey)), 401},
		{"no key to read", request{"GET", "/api/see", "", "", nil}, 401},
		{"no key for events", request{"GET", "/api/events", "", "", nil}, 401},

		{"another origin", act("", own("Origin", "http://evil.example")), 403},
		{"origin of a sandbox or a file", act("", own("Origin", "null")), 403},
		{"another program's page on this machine", act("", own("Origin", "http://127.0.0.1:1")), 403},
		{"our address by TLS", act("", own("Origin", strings.Replace(s.base, "http", "https", 1))), 403},
		{"our name before theirs", act("", own("Origin", s.base+".evil.example")), 403},
		{"our name as their user", act("", own("Origin", strings.Replace(s.base, "//", "//x@", 1))), 403},
		{"another site says so", act("", own("Sec-Fetch-Site", "cross-site")), 403},
		{"another port says so", act("", own("Sec-Fetch-Site", "same-site")), 403},
		{"another origin reads", request{"GET", "/api/see", "", "", own("Origin", "http://evil.example")}, 403},

		{"a form's type", act("", own("Content-Type", "application/x-www-form-urlencoded")), 415},
		{"a form's plain text", act("", own("Content-Type", "text/plain")), 415},
		{"a form with files, where none is wanted", act("", own("Content-Type", "multipart/form-data; boundary=x")),
			415},
		{"two types", act("", own("Content-Type", "application/json, text/plain")), 415},
		{"no type", act("", own("Content-Type", "")), 415},

		{"GET for what changes", request{"GET", "/api/act", "", "", own()}, 405},
		{"HEAD for what changes", request{"HEAD", "/api/act", "", "", own()}, 405},
		{"GET that claims to be POST",
			request{"GET", "/api/act?_method=POST", "", "", own("X-HTTP-Method-Override", "POST")}, 405},
		{"DELETE", request{"DELETE", "/api/act", "", "", own()}, 405},
		{"OPTIONS, as asked before a foreign call",
			request{"OPTIONS", "/api/act", "", "", own("Origin", "http://evil.example")}, 405},
		{"TRACE", request{"TRACE", "/api/act", "", "", own()}, 405},
		{"POST to a file", request{"POST", "/", "", "", own()}, 405},
		{"PUT of a link", request{"PUT", "/file/x/y", "{}", "", own()}, 405},
		{"POST to what is read", request{"POST", "/api/see", "{}", "", own()}, 405},
		{"WebSocket", request{"GET", "/api/events", "", "", own("Connection", "Upgrade", "Upgrade", "websocket")}, 400},

		{"a value more", request{"POST", "/api/act", `{"Text":"x"} {}`, "", own()}, 400},
		{"a field that is not there", request{"POST", "/api/act", `{"Txet":"x"}`, "", own()}, 400},
		{"no JSON", request{"POST", "/api/act", `Text=x`, "", own()}, 400},
		{"too large", request{"POST", "/api/act", `{"Text":"` + strings.Repeat("x", maxBody) + `"}`, "", own()}, 413},
	} {
		before := s.called.Load()
		status, text, header := s.send(test.send)
		if status != test.want {
			t.Errorf("%s: status %d, want %d: %s", test.name, status, test.want, text)
		}
		if status != 200 && status != 400 && status != 413 && s.called.Load() != before {
			t.Errorf("%s: refused, but the call was made", test.name)
		}
		if got := header.Get("Content-Security-Policy"); got != pagePolicy {
			t.Errorf("%s: policy %q", test.name, got)
		}
		if got := header.Get("Cache-Control"); got != "no-store" {
			t.Errorf("%s: Cache-Control %q", test.name, got)
		}
		for _, never := range []string{"Access-Control-Allow-Origin", "Set-Cookie"} {
			if header.Get(never) != "" {
				t.Errorf("%s: answers with %s: %s", test.name, never, header.Get(never))
			}
		}
		if strings.Contains(text, testKey) {
			t.Errorf("%s: the key is in the answer", test.name)
		}
	}
}

// TestOddRequests writes what no browser would.
func TestOddRequests(t *testing.T) {
	s := serve(t, Options{})
	s.HandleUpload("/api/import", func(http.ResponseWriter, *http.Request) error { return nil })
	host, key := "Host: "+s.host()+"\r\n", KeyHeader+": "+testKey+"\r\n"
	body := "Content-Type: application/json\r\nContent-Length: 2\r\n\r\n{}"

	// No spelling of a path leads past the question for the key.
	for _, path := range []string{
		"/api/act", "/%61pi/act", "/api%2fact", "/%2fapi/act", "//api/act", "/./api/act", "/x/../api/act",
		"/x/%2e%2e/api/act", "/api//act", "/api/./act",
		"/API/act", "/api/act/", "/api;/act", "/;/api/act", `/\api/act`, "/file/../api/act", "http://" + s.host() +
			"/api/act", "*", "api/act",
	} {
		if got := s.status("POST " + path + " HTTP/1.1\r\n" + host + body); got < 300 {
			t.Errorf("POST %s without the key: %d", path, got)
		}
		if got := s.status("GET " + strings.Replace(path, "act", "see", 1) + " HTTP/1.1\r\n" + host +
			"\r\n"); got < 300 {
			t.Errorf("GET %s without the key: %d", path, got)
		}
	}
	if s.called.Load() != 0 {
		t.Error("a call was made")
	}

	for name, test := range map[string]struct {
		text string
		want int
	}{
		"as it should be": {"POST /api/act HTTP/1.1\r\n" + host + key + body, 200},
		"no host":         {"POST /api/act HTTP/1.0\r\n" + key + body, 421},
		"two hosts": {"POST /api/act HTTP/1.1\r\n" + host + "Host: evil.example\r\n" + key + body,
			400},
		"another host in the line": {"POST http://evil.example/api/act HTTP/1.1\r\n" + host + key + body, 421},
		"a tunnel":                 {"CONNECT evil.example:80 HTTP/1.1\r\n" + host + key + "\r\n", 421},
		"a tunnel to us":           {"CONNECT " + s.host() + " HTTP/1.1\r\n" + host + key + "\r\n", 405},
		"two lengths": {"POST /api/act HTTP/1.1\r\n" + host + key + "Content-Length: 9\r\n" + body,
			400},
		"two keys, the second right": {"POST /api/act HTTP/1.1\r\n" + host + KeyHeader + ": x\r\n" + key + body, 401},
		"upgrade to HTTP/2": {"GET /api/see HTTP/1.1\r\n" + host + key +
			"Connection: Upgrade, HTTP2-Settings\r\nUpgrade: h2c\r\nHTTP2-Settings: AA\r\n\r\n", 400},
		"a header that is too large": {"GET /api/see HTTP/1.1\r\n" + host + key + "X: " +
			strings.Repeat("x", 64<<10) + "\r\n\r\n", 431},
		"says that it is too large": {"POST /api/act HTTP/1.1\r\n" + host + key +
			"Content-Type: application/json\r\nContent-Length: 1048577\r\n\r\n", 413},
		"says that its files are": {"POST /api/import HTTP/1.1\r\n" + host + key +
			"Content-Type: multipart/form-data; boundary=x\r\nContent-Length: 1073741825\r\n\r\n", 413},
		"a file by a way out, encoded": {"GET /%2e%2e/%2e%2e/etc/passwd HTTP/1.1\r\n" + host + "\r\n", 404},
		"a file by a way out":          {`GET /..\..\benchpage.go HTTP/1.1` + "\r\n" + host + "\r\n", 404},
		"a file with an end inside":    {"GET /index.html%00.js HTTP/1.1\r\n" + host + "\r\n", 404},
	} {
		if got := s.status(test.text); got != test.want {
			t.Errorf("%s: %d, want %d", name, got, test.want)
		}
	}
}

// TestFolderInQuery names a folder in all odd spellings of a query.
func TestFolderInQuery(t *testing.T) {
	s := serve(t, Options{})
	s.Handle("GET", "/api/folder", func(w http.ResponseWriter, r *http.Request) error {
		dir, err := s.Confine(r.URL.Query().Get("coil"))
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(s.root, dir)
		if err != nil {
			return err
		}
		return Answer(w, rel)
	})
	for query, want := range map[string]int{
		"coil=shop%2fbridge": 200, "coil=shop/bridge": 200, "coil=%252e%252e": 200, // a name with percent signs
		"": 400, "coil=": 400, "coil=%2e%2e": 400, "coil=..%2f..%2fetc": 400, "coil=%2Fetc": 400, "coil=..%5cx": 400,
		"coil=a%00b": 400, "coil=%c0%ae%c0%ae/x": 400,
		"coil=a%2f%2e%2e%2f%2e%2e": 400, "coil=nul": 400, "coil=..;coil=x": 400, "coil=..&coil=x": 400, "coil=%": 400,
	} {
		if status, text, _ := s.send(request{"GET", "/api/folder?" + query, "", "", own()}); status != want {
			t.Errorf("%s: %d %s, want %d", query, status, text, want)
		}
	}
}

// TestChunkedBody sends a body of unknown length that does not end.
func TestChunkedBody(t *testing.T) {
	s := serve(t, Options{})
	pr, pw := io.Pipe()
	go func() {
		io.WriteString(pw, `{"Text":"`)
		for {
			if _, err := io.WriteString(pw, strings.Repeat("x", 1<<16)); err != nil {
				return
			}
		}
	}()
	defer pr.Close()
	r, err := http.NewRequest("POST", s.base+"/api/act", pr)
	if err != nil {
		t.Fatal(err)
	}
	r.Header = own()
	response, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	response.Body.Close()
	if response.StatusCode != http.StatusRequestEntityTooLarge {
		t.Errorf("status %d, want 413", response.StatusCode)
	}
}

func TestHeadersOfEveryAnswer(t *testing.T) {
	s := serve(t, Options{Static: fstest.MapFS{"plot.css": {Data: []byte("p{}")},
		"guide/plain.svg": {Data: []byte("<svg/>")}, "bench.toml": {Data: []byte("x = 1")}}})
	for path, want := range map[string]struct {
		status int
		kind   string
	}{
		"/": {200, "text/html; charset=utf-8"}, "/index.html": {200, "text/html; charset=utf-8"},
		"/plot.css": {200, "text/css; charset=utf-8"}, "/guide/plain.svg": {200, "image/svg+xml"},
		"/guide": {404, "application/json"}, "/guide/": {404, "application/json"},
		"/nothing": {404, "application/json"}, "/bench.toml": {404, "application/json"},
		"/assets/index.html": {404, "application/json"}, "/..%2fguard.go": {404, "application/json"},
		"/file/x/y": {404, "application/json"}, "/api/see": {401, "application/json"},
	} {
		status, _, header := s.send(request{"GET", path, "", "", nil})
		if status != want.status || header.Get("Content-Type") != want.kind {
			t.Errorf("%s: %d %s, want %d %s", path, status, header.Get("Content-Type"), want.status, want.kind)
		}
		for name, value := range map[string]string{
			"Content-Security-Policy": pagePolicy, "X-Content-Type-Options": "nosniff",
			"Referrer-Policy":            "no-referrer",
			"Cross-Origin-Opener-Policy": "same-origin", "Cross-Origin-Resource-Policy": "same-origin",
		} {
			if header.Get(name) != value {
				t.Errorf("%s: %s is %q, want %q", path, name, header.Get(name), value)
			}
		}
		if cache := header.Get("Cache-Control"); cache != "no-store" && cache != "no-cache" {
			t.Errorf("%s: Cache-Control is %q", path, cache)
		}
	}
}

func TestErrorsAreTold(t *testing.T) {
	told := make(chan string, 1)
	s := serve(t, Options{Fault: func(text string) { told <- text }})
	status, text, _ := s.send(request{"GET", "/api/busy", "", "", own()})
	var e Error
	if err := json.Unmarshal([]byte(text), &e); err != nil || status != 409 || e.Running != "take a" ||
		e.Text != "the bench is busy" {
		t.Errorf("%d %s", status, text)
	}
	status, text, _ = s.send(request{"GET", "/api/panic", "", "", own()})
	if status != 500 || !strings.Contains(text, "a bug") {
		t.Errorf("%d %s", status, text)
	}
	if text := <-told; !strings.Contains(text, "serve_test.go") {
		t.Errorf("told %q", text)
	}
	if status, _, _ := s.send(request{"GET", "/api/see", "", "", own()}); status != 200 {
		t.Errorf("after a panic: %d", status)
	}
}

// TestSlowHeader: a client that never finishes its header is let go.
func TestSlowHeader(t *testing.T) {
	impatient := usualWaits
	impatient.header = 50 * time.Millisecond
	s := serve(t, Options{waits: impatient})
	c := s.dial("GET / HTTP/1.1\r\nHost: x\r\nX-Slow: ")
	defer c.Close()
	if _, err := io.ReadAll(c); err != nil {
		t.Errorf("the connection is kept: %v", err)
	}
}

func TestListening(t *testing.T) {
	s := serve(t, Options{})
	if !s.Loopback() {
		t.Error("not on loopback")
	}
	if want := s.base + "/#key=" + testKey; s.URL() != want {
		t.Errorf("URL %s, want %s", s.URL(), want)
	}
	taken := s.listener.Addr().String()
	if _, err := New(Options{Root: t.TempDir(), Listen: taken}); err == nil ||
		!strings.Contains(err.Error(), "in use") || !strings.Contains(err.Error(), "--listen 127.0.0.1:0") {
		t.Errorf("port taken: %v", err)
	}
	if _, err := New(Options{Root: t.TempDir(), Listen: "8137"}); err == nil ||
		!strings.Contains(err.Error(), "ADDRESS:PORT") {
		t.Errorf("no address: %v", err)
	}
	// An address of TEST-NET-1 (RFC 5737) is none of this machine's.
	if _, err := New(Options{Root: t.TempDir(), Listen: "192.0.2.1:8137"}); err == nil ||
		!strings.Contains(err.Error(), "port 8137 of 192.0.2.1") || !strings.Contains(err.Error(), "--listen") {
		t.Errorf("address of another machine: %v", err)
	}
	if _, err := New(Options{Root: t.TempDir() + "/none", Listen: "127.0.0.1:0"}); err == nil {
		t.Error("a root that is not there is taken")
	}
	if s.OtherURLs() != nil {
		t.Errorf("a server on loopback is reached from elsewhere at %q", s.OtherURLs())
	}
	all, err := New(Options{Root: t.TempDir(), Listen: "0.0.0.0:0", Key: testKey})
	if err != nil {
		t.Fatal(err)
	}
	defer all.Close()
	for _, url := range append(all.OtherURLs(), all.URL()) {
		host, ok := strings.CutSuffix(strings.TrimPrefix(url, "http://"), "/#key="+testKey)
		if !ok || !all.hosts[host] || strings.HasPrefix(host, "0.") {
			t.Errorf("address %s of %v", url, all.hosts)
		}
	}
	a, err := New(Options{Root: t.TempDir(), Listen: "127.0.0.1:0"})
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close()
	b, err := New(Options{Root: t.TempDir(), Listen: "127.0.0.1:0"})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	if a.key == b.key || len(a.key) != 26 {
		t.Errorf("keys %q and %q", a.key, b.key)
	}
}

// TestOwnHosts: on all addresses, a browser may use any of them, and no other
// name.
func TestOwnHosts(t *testing.T) {
	hosts := ownHosts(&net.TCPAddr{IP: net.IPv4zero, Port: 8137}, []string{"Bench.local", "[fe80::1]"})
	for _, want := range []string{"127.0.0.1:8137", "[::1]:8137", "localhost:8137", "bench.local:8137",
		"[fe80::1]:8137"} {
		if !hosts[want] {
			t.Errorf("%s is no own host", want)
		}
	}
	if hosts["0.0.0.0:8137"] || hosts["bench.local"] {
		t.Error("too much is an own host")
	}
	// Browsers leave out the port of HTTP (RFC 9110, 4.2.1).
	hosts = ownHosts(&net.TCPAddr{IP: net.IPv6loopback, Port: 80}, nil)
	for _, want := range []string{"[::1]", "[::1]:80", "localhost"} {
		if !hosts[want] {
			t.Errorf("%s is no own host on port 80", want)
		}
	}
}
