package main

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"coilsweep/capture"
)

// A take whose folder is renamed while it is recorded: the page says where it is, and
// where it was removed, that it is lost.
func TestServeTakeGoesAway(t *testing.T) {
	t.Parallel()
	root := t.TempDir()
	s := serve(t, root, true)
	events := s.listens()
	for coil, want := range map[string]string{
		"moved": "kept as " + filepath.Join(root, "moved-on", "takes", "bare.partial"), "gone": "is lost",
	} {
		s.gets("POST", "/api/coils", map[string]any{"coil": coil, "options": map[string]string{"name": coil}})
		s.gets("POST", "/api/takes", map[string]any{"coil": coil, "options": map[string]string{
			"take": "bare", "repeats": "2", "duration": "0.7"}})
		dir := filepath.Join(root, coil)
		audio := filepath.Join(dir, "takes", "bare.partial", "capture.wav")
		s.waits("a recording", func() bool { return size(audio) > 48000 })
		err := os.Rename(dir, filepath.Join(root, coil+"-on"))
		if coil == "gone" {
			err = os.RemoveAll(filepath.Join(root, coil+"-on"))
		}
		if err != nil {
			t.Fatal(err)
		}
		s.waits("the end", func() bool { return events.of("ended", "coil") == coil })
		text := fmt.Sprint(events.of("ended", "text"))
		if runtime.GOOS != "linux" {
			want = "is lost" // what was renamed cannot be found again
		}
		if !strings.Contains(strings.ReplaceAll(text, "\u00a0", " "), want) {
			t.Errorf("%s: %q, want %q", coil, text, want)
		}
	}
}

// A state of a coil is a coil of its own on the page; one that is there already is opened.
func TestServeStates(t *testing.T) {
	t.Parallel()
	root := t.TempDir()
	if err := capture.CreateFolder(filepath.Join(root, "coil"), capture.Coil{Name: "Bridge"}); err != nil {
		t.Fatal(err)
	}
	s := serve(t, root, false)
	for range 2 {
		answer := s.gets("POST", "/api/coil/state", map[string]any{"coil": "coil", "state": "potted"})
		if answer["coil"] != "coil/states/potted" {
			t.Errorf("answer %v", answer)
		}
	}
	if coil := s.gets("GET", "/api/coil?coil=coil/states/potted", nil); coil["name"] != "Bridge, potted" {
		t.Errorf("the state is called %v", coil["name"])
	}
	if _, err := capture.OpenFolder(filepath.Join(root, "coil", "states", "potted")); err != nil {
		t.Error(err)
	}
}

// Whoever may write below the folder that is served can put symbolic links there. What
// they lead to outside is in no answer, in no file that can be fetched and in no archive.
func TestServeFollowsNoLinkOut(t *testing.T) {
	t.Parallel()
	root, outside := t.TempDir(), t.TempDir()
	s := serve(t, root, false)
	s.gets("POST", "/api/coils", map[string]any{"coil": "coil", "options": map[string]string{"name": "Coil"}})
	s.gets("POST", "/api/takes", map[string]any{"coil": "coil", "options": map[string]string{
		"take": "bare", "repeats": "1", "duration": "0.35", "fixture-c": "65p 5%", "fixture-r": "1M 1%"}})
	s.waits("the fit", func() bool { return s.gets("GET", "/api/result?coil=coil", nil)["state"] == "fresh" })
	s.gets("POST", "/api/report?coil=coil", map[string]any{})
	s.close()

	const secret = "SECRET7f3a"
	take := filepath.Join(root, "coil", "takes", "bare")
	partial := filepath.Join(root, "coil", "takes", "lost.partial")
	aside := filepath.Join(root, "coil", "takes", "old.aside")
	if err := errors.Join(os.CopyFS(partial, os.DirFS(take)), os.CopyFS(aside, os.DirFS(take)),
		os.Remove(filepath.Join(partial, "take.toml"))); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"plan.toml", "stimulus.toml"} {
		if err := os.WriteFile(filepath.Join(partial, name), nil, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	var coils []string
	for i, name := range []string{
		"coil.toml", "result.json", "response.csv", "report.html", "fit.cache", "bench.toml", "takes", "takes/bare",
		"takes/bare/take.toml", "takes/bare/capture.wav", "takes/lost.partial", "takes/lost.partial/plan.toml",
		"takes/lost.partial/stimulus.toml", "takes/lost.partial/capture.wav", "takes/old.aside",
		"takes/old.aside/take.toml",
	} {
		coil := fmt.Sprintf("coil%d", i)
		coils = append(coils, coil)
		path := filepath.Join(root, coil, filepath.FromSlash(name))
		if err := os.CopyFS(filepath.Join(root, coil), os.DirFS(filepath.Join(root, "coil"))); err != nil {
			t.Fatal(err)
		}
		// The file outside is as large and as old as that in its place, by which some would
		// take it for unchanged.
		out := filepath.Join(outside, coil)
		info, err := os.Stat(filepath.Join(root, "coil", filepath.FromSlash(name)))
		switch {
		case err == nil && info.IsDir():
			err = errors.Join(os.CopyFS(out, os.DirFS(path)), os.WriteFile(filepath.Join(out, "take.toml"),
				[]byte("schema = "+secret), 0o666))
		default:
			size := 0
			if err == nil {
				size = int(info.Size())
			}
			text := secret + strings.Repeat(" ", max(0, size-len(secret)))
			if err = os.WriteFile(out, []byte(text), 0o666); err == nil && info != nil {
				err = os.Chtimes(out, info.ModTime(), info.ModTime())
			}
		}
		if err := errors.Join(err, os.RemoveAll(path), os.Symlink(out, path)); err != nil {
			t.Fatal(err)
		}
	}

	s = serve(t, root, false)
	seen := func(what, text string) {
		t.Helper()
		if strings.HasPrefix(text, "PK") {
			packed, err := zip.NewReader(strings.NewReader(text), int64(len(text)))
			if err != nil {
				t.Fatal(err)
			}
			var all bytes.Buffer
			for _, f := range packed.File {
				r, err := f.Open()
				if err == nil {
					_, err = io.Copy(&all, r)
				}
				if err != nil {
					t.Fatal(err)
				}
			}
			text = all.String()
		}
		if strings.Contains(text, secret) {
			t.Errorf("%s: what a link leads to is told", what)
		}
	}
	for _, path := range []string{"/api/coils", "/api/next", "/api/bench"} {
		_, v := s.asks("GET", path, nil)
		seen(path, fmt.Sprint(v))
	}
	archives := 0
	for _, coil := range slices.Concat(coils, []string{"coil"}) {
		for _, ask := range []struct {
			method, path string
			body         any
		}{
			{"GET", "/api/coil?coil=" + coil, nil}, {"GET", "/api/next?coil=" + coil, nil},
			{"GET", "/api/result?coil=" + coil, nil}, {"GET", "/api/links?coil=" + coil, nil},
			{"POST", "/api/partial", map[string]any{"coil": coil, "partial": "lost.partial",
				"options": map[string]string{"take": "found"}}},
			{"POST", "/api/report?coil=" + coil, map[string]any{}},
			{"GET", "/api/coil?coil=" + coil, nil}, {"GET", "/api/result?coil=" + coil, nil},
		} {
			_, v := s.asks(ask.method, ask.path, ask.body)
			seen(coil+": "+ask.path, fmt.Sprint(v))
			for _, link := range s.links(v, "files") {
				answer, err := http.Get(s.base + link)
				if err != nil {
					t.Fatal(err)
				}
				text, err := io.ReadAll(answer.Body)
				answer.Body.Close()
				if err != nil {
					continue // it broke off
				}
				seen(coil+": "+link, string(text))
				if answer.StatusCode == http.StatusOK && strings.HasPrefix(string(text), "PK") {
					archives++
				}
			}
		}
	}
	if archives == 0 {
		t.Error("no archive could be fetched, not even that of the coil without a link")
	}
}
