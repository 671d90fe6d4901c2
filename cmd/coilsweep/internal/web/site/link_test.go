package site

import (
	"errors"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestLinks(t *testing.T) {
	s := serve(t, Options{})
	path := filepath.Join(s.root, "report.html")
	if err := os.WriteFile(path, []byte("<h1>Bridge</h1>"), 0o644); err != nil {
		t.Fatal(err)
	}
	file := func(w http.ResponseWriter, r *http.Request) error { return s.ServeFile(w, r, path) }
	page := s.Link("bridge", "report.html", file)
	audio := s.Link("bridge", `take "ü".wav`, file)
	if again := s.Link("bridge", "report.html", file); again != page {
		t.Errorf("the link changed from %s to %s", page, again)
	}
	if other := s.Link("neck", "report.html", file); other == page {
		t.Error("two coils share a link")
	}

	// A page that was made runs in an origin of its own, without the key.
	status, text, header := s.send(request{"GET", page, "", "", nil})
	policy := header.Get("Content-Security-Policy")
	if status != 200 || text != "<h1>Bridge</h1>" || !strings.HasPrefix(header.Get("Content-Type"), "text/html") {
		t.Errorf("page: %d %q %v", status, text, header)
	}
	if !strings.HasPrefix(policy, "sandbox ") || strings.Contains(policy, "allow-same-origin") ||
		!strings.Contains(policy, "default-src 'none'") {
		t.Errorf("page: policy %q", policy)
	}
	// Anything else is kept, not shown.
	status, _, header = s.send(request{"GET", audio, "", "", nil})
	if status != 200 || !strings.HasPrefix(header.Get("Content-Disposition"), "attachment") ||
		header.Get("Content-Type") != "application/octet-stream" {
		t.Errorf("audio: %d %v", status, header)
	}

	token := strings.Split(page, "/")[2]
	for _, guessed := range []string{
		"/file/" + token[:len(token)-1] + "A/report.html", "/file/" + strings.ToUpper(token) + "/report.html",
		"/file/" + token + "/other.html", "/file/" + token + "/", "/file//report.html",
		"/file/" + token + "/..%2f..%2fetc%2fpasswd", "/file/" + token + "/report.html/x",
	} {
		if status, _, _ := s.send(request{"GET", guessed, "", "", own()}); status != 404 {
			t.Errorf("%s: %d, want 404", guessed, status)
		}
	}
	if status, text, _ := s.send(request{"HEAD", page, "", "", nil}); status != 200 || text != "" {
		t.Errorf("HEAD: %d %q", status, text)
	}
	s.Unlink(audio)
	if status, _, _ := s.send(request{"GET", audio, "", "", nil}); status != 404 {
		t.Errorf("a link that was taken back: %d, want 404", status)
	}
	os.Remove(path)
	if status, text, header := s.send(request{"GET", page, "", "", nil}); status != 404 ||
		header.Get("Content-Security-Policy") != pagePolicy {
		t.Errorf("file gone: %d %s", status, text)
	}

	// Nor is a file served that a link leads to, in its place or on the way.
	outside := t.TempDir()
	if err := os.WriteFile(filepath.Join(outside, "secret.wav"), nil, 0o644); err != nil {
		t.Fatal(err)
	}
	for name, to := range map[string]string{"capture.wav": filepath.Join(outside, "secret.wav"), "takes": outside,
		"self": "."} {
		symlink(t, to, filepath.Join(s.root, name))
	}
	if err := os.WriteFile(filepath.Join(s.root, "kept.wav"), nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(s.root, "folder"), 0o755); err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]int{
		"kept.wav": 200, "folder": 404, "none": 404, "capture.wav": 403, "takes/secret.wav": 403, "self/kept.wav": 403,
		"../" + filepath.Base(outside) + "/secret.wav": 400, ".": 400,
	} {
		url := s.Link(name, "x.wav", func(w http.ResponseWriter, r *http.Request) error {
			return s.ServeFile(w, r, filepath.Join(s.root, name))
		})
		if status, text, _ := s.send(request{"GET", url, "", "", nil}); status != want {
			t.Errorf("%s: %d %s, want %d", name, status, text, want)
		}
	}

	// Links of another start do not hold.
	other, err := New(Options{Root: t.TempDir(), Listen: "127.0.0.1:0"})
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	if other.Link("bridge", "report.html", file) == page {
		t.Error("the link does not hang on the key")
	}
}

// TestBrokenDownload: what fails half-way does not look whole.
func TestBrokenDownload(t *testing.T) {
	told := make(chan string, 1)
	s := serve(t, Options{Fault: func(text string) { told <- text }})
	for name, end := range map[string]func() error{
		"an error": func() error { return errors.New("the disk is gone") },
		"a panic":  func() error { panic("a bug") },
	} {
		url := s.Link(name, "x.zip", func(w http.ResponseWriter, r *http.Request) error {
			io.WriteString(w, "half of")
			http.NewResponseController(w).Flush()
			return end()
		})
		response, err := http.Get(s.base + url)
		if err != nil {
			t.Fatal(err)
		}
		data, err := io.ReadAll(response.Body)
		response.Body.Close()
		if err == nil {
			t.Errorf("%s: %q came as if it were all", name, data)
		}
	}
	if text := <-told; !strings.Contains(text, "a bug") {
		t.Errorf("told %q", text)
	}
	url := s.Link("at once", "x.zip",
		func(http.ResponseWriter, *http.Request) error { return errors.New("there is no disk") })
	status, text, header := s.send(request{"GET", url, "", "", nil})
	if status != 500 || !strings.Contains(text, "no disk") || header.Get("Content-Disposition") != "" ||
		header.Get("Content-Type") != "application/json" {
		t.Errorf("failed at once: %d %s %v", status, text, header)
	}
}
