package benchpage

import (
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
	file := func(w http.ResponseWriter, r *http.Request) error { return ServeFile(w, r, path) }
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
	if !strings.HasPrefix(policy, "sandbox ") || strings.Contains(policy, "allow-same-origin") || !strings.Contains(policy, "default-src 'none'") {
		t.Errorf("page: policy %q", policy)
	}
	// Anything else is kept, not shown.
	status, _, header = s.send(request{"GET", audio, "", "", nil})
	if status != 200 || !strings.HasPrefix(header.Get("Content-Disposition"), "attachment") || header.Get("Content-Type") != "application/octet-stream" {
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
	os.Remove(path)
	if status, text, header := s.send(request{"GET", page, "", "", nil}); status != 404 || header.Get("Content-Security-Policy") != pagePolicy {
		t.Errorf("file gone: %d %s", status, text)
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
