package site

import (
	"bytes"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// form is a multipart body of parts: field, file name (empty: a text), content.
func form(t *testing.T, parts ...[3]string) (body, kind string) {
	t.Helper()
	var b bytes.Buffer
	w := multipart.NewWriter(&b)
	for _, p := range parts {
		var into io.Writer
		var err error
		if p[1] == "" {
			into, err = w.CreateFormField(p[0])
		} else {
			into, err = w.CreateFormFile(p[0], p[1])
		}
		if err == nil {
			_, err = io.WriteString(into, p[2])
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.String(), w.FormDataContentType()
}

func TestUpload(t *testing.T) {
	s := serve(t, Options{})
	s.handle("POST", "/api/small", "multipart/form-data", 2000, func(w http.ResponseWriter, r *http.Request) error {
		_, err := Receive(r, s.root)
		return err
	})
	s.HandleUpload("/api/import", func(w http.ResponseWriter, r *http.Request) error {
		u, err := Receive(r, s.root)
		if err != nil {
			return err
		}
		defer u.Close()
		f := u.Files["recording"]
		data, err := os.ReadFile(f.Path)
		if err != nil {
			return err
		}
		if rel, err := filepath.Rel(s.root, f.Path); err != nil || !filepath.IsLocal(rel) {
			return fmt.Errorf("the file is in %s", f.Path)
		}
		return Answer(w, []string{f.Name, string(data), u.Texts["options"]})
	})
	empty := func(after string) {
		t.Helper()
		if left, err := os.ReadDir(s.root); err != nil || len(left) != 0 {
			t.Errorf("after %s: left %v (%v)", after, left, err)
		}
	}
	for sent, kept := range map[string]string{
		"rec.wav": "rec.wav", "../../etc/rec.wav": "rec.wav", `C:\audio\rec.wav`: "rec.wav", "..": "recording",
		"con.wav":       "recording",
		"\u202egnp.wav": "recording", strings.Repeat("x", 300) + ".wav": "recording",
	} {
		body, kind := form(t, [3]string{"recording", sent, "RIFF"}, [3]string{"options", "", `{"take":"a"}`})
		status, text, _ := s.send(request{"POST", "/api/import", body, "", own("Content-Type", kind)})
		if want := fmt.Sprintf(`[%q,"RIFF","{\"take\":\"a\"}"]`, kept); status != 200 || text != want {
			t.Errorf("%q: %d %s, want %s", sent, status, text, want)
		}
		empty(sent)
	}

	large, kind := form(t, [3]string{"recording", "rec.wav", strings.Repeat("x", 3000)})
	if status, text, _ := s.send(request{"POST", "/api/small", large, "", own("Content-Type", kind)}); status != 413 {
		t.Errorf("too large: %d %s", status, text)
	}
	empty("too large a form")
	// The same without saying how large it is.
	r, err := http.NewRequest("POST", s.base+"/api/small", io.MultiReader(strings.NewReader(large)))
	if err != nil {
		t.Fatal(err)
	}
	r.Header = own("Content-Type", kind)
	response, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	response.Body.Close()
	if response.StatusCode != 413 {
		t.Errorf("too large, in pieces: %d", response.StatusCode)
	}
	empty("too large a form in pieces")

	broken := large[:len(large)-200]
	if status, text, _ := s.send(request{"POST", "/api/import", broken, "",
		own("Content-Type", kind)}); status != 400 || !strings.Contains(text, "not arrive whole") {
		t.Errorf("broken off: %d %s", status, text)
	}
	empty("a form that broke off")
	var many [][3]string
	for i := range 20 {
		many = append(many, [3]string{fmt.Sprint("f", i), "x.wav", "x"})
	}
	body, kind := form(t, many...)
	if status, text, _ := s.send(request{"POST", "/api/import", body, "", own("Content-Type", kind)}); status != 400 {
		t.Errorf("too many files: %d %s", status, text)
	}
	empty("too many files")
	body, kind = form(t, [3]string{"options", "", strings.Repeat("x", maxBody+1)},
		[3]string{"recording", "rec.wav", "RIFF"})
	if status, text, _ := s.send(request{"POST", "/api/import", body, "", own("Content-Type", kind)}); status != 413 {
		t.Errorf("a text that is too long: %d %s", status, text)
	}
	empty("a text that is too long")
	body, kind = form(t, [3]string{"recording", "a.wav", "RIFF"}, [3]string{"recording", "b.wav", "RIFF"})
	if status, text, _ := s.send(request{"POST", "/api/import", body, "", own("Content-Type", kind)}); status != 400 ||
		!strings.Contains(text, "twice") {
		t.Errorf("a field twice: %d %s", status, text)
	}
	empty("a field twice")
	if status, _, _ := s.send(request{"POST", "/api/import", "{}", "", own()}); status != 415 {
		t.Errorf("no form: %d", status)
	}
}
