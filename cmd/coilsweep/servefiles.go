package main

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"coilsweep/capture/wav"
	"coilsweep/cmd/coilsweep/benchpage"
	"coilsweep/excite"
	"coilsweep/report/data"
	"coilsweep/report/plot"
)

// pageFiles are the files of the page that other parts of the program hold:
// the drawings of the guide, and the style of the figures.
type pageFiles struct{}

func (pageFiles) Open(name string) (fs.File, error) {
	if strings.HasPrefix(name, "guide/") && filepath.Ext(name) == ".svg" {
		return guideFiles.Open(name)
	}
	return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
}

func (pageFiles) ReadFile(name string) ([]byte, error) {
	switch {
	case name == "plot.css":
		return []byte(plot.Palette + plot.CSS), nil
	case strings.HasPrefix(name, "guide/") && filepath.Ext(name) == ".svg":
		return guideFiles.ReadFile(name)
	}
	return nil, &fs.PathError{Op: "read", Path: name, Err: fs.ErrNotExist}
}

// linked is a file that can be had from the page.
type linked struct {
	What  string     `json:"what"`
	Take  string     `json:"take,omitempty"`
	Name  string     `json:"name"`
	Link  string     `json:"link"`
	Bytes int64      `json:"bytes,omitempty"`
	Made  *time.Time `json:"made,omitempty"`
}

// getLinks are links to the files of a coil; without a coil those of the bench.
func (w *workshop) getLinks(r *http.Request) (any, error) {
	coil := r.URL.Query().Get("coil")
	if coil == "" {
		return map[string]any{"files": w.benchLinks()}, nil
	}
	folder, err := w.openCoil(coil)
	if err != nil {
		return nil, err
	}
	files := []linked{}
	add := func(what, take, name, path string) {
		if l, ok := w.linkFile(what, take, name, path); ok {
			files = append(files, l)
		}
	}
	base := strings.ReplaceAll(coil, "/", "-")
	add("report", "", base+"-report.html", filepath.Join(folder.Dir, "report.html"))
	add("result", "", base+"-result.json", filepath.Join(folder.Dir, "result.json"))
	add("response", "", base+"-response.csv", filepath.Join(folder.Dir, "response.csv"))
	held, err := folder.Fingerprint()
	if err != nil {
		return nil, err
	}
	if len(held.Takes) > 0 {
		name := base + ".zip"
		files = append(files, linked{What: "archive", Name: name, Link: w.page.Link("archive "+coil, name, func(rw http.ResponseWriter, r *http.Request) error {
			return w.sendArchive(rw, r, folder.Dir)
		})})
	}
	for _, t := range held.Takes {
		add("audio", t.Name, base+"-"+t.Name+".wav", filepath.Join(folder.TakeDir(t.Name), "capture.wav"))
	}
	return map[string]any{"files": files}, nil
}

// linkFile gives out a link to a file below the root; false where there is none.
func (w *workshop) linkFile(what, take, name, path string) (linked, bool) {
	info, err := os.Lstat(path)
	if err != nil || !info.Mode().IsRegular() {
		return linked{}, false
	}
	made := info.ModTime()
	link := w.page.Link(path, name, func(rw http.ResponseWriter, r *http.Request) error {
		if info, err := os.Lstat(path); err != nil || !info.Mode().IsRegular() {
			return benchpage.Errorf(http.StatusNotFound, "%s is not there any more", name)
		}
		return w.page.ServeFile(rw, r, path)
	})
	return linked{What: what, Take: take, Name: name, Link: link, Bytes: info.Size(), Made: &made}, true
}

// sendArchive packs a coil as 'export' does.
func (w *workshop) sendArchive(rw http.ResponseWriter, r *http.Request, dir string) error {
	a, err := w.coils.get(r.Context(), dir)
	if err != nil {
		return refused(err)
	}
	// The answer's status is the first thing sent: pack first.
	temp, err := os.CreateTemp("", "coilsweep-*.zip")
	if err != nil {
		return err
	}
	defer os.Remove(temp.Name())
	defer temp.Close()
	if err := data.WriteArchive(temp, data.Archive{
		Result: *a.result, Takes: a.takes, Audio: true, Program: programName(),
		Open: func(name string) (io.ReadCloser, error) { return os.Open(filepath.Join(dir, filepath.FromSlash(name))) },
	}); err != nil {
		return err
	}
	http.ServeContent(rw, r, "", time.Now(), temp)
	return nil
}

// benchLinks are the stimulus that a take plays unless something else is asked
// for, and its description, for recordings that are made elsewhere.
func (w *workshop) benchLinks() []linked {
	send := func(make func(excite.Stimulus) ([]byte, error)) benchpage.Handler {
		return func(rw http.ResponseWriter, r *http.Request) error {
			s, err := w.usualStimulus()
			if err != nil {
				return refused(err)
			}
			data, err := make(s)
			if err != nil {
				return err
			}
			http.ServeContent(rw, r, "", time.Time{}, bytes.NewReader(data))
			return nil
		}
	}
	return []linked{
		{What: "stimulus", Name: "sweep.wav", Link: w.page.Link("stimulus", "sweep.wav", send(stimulusAudio))},
		{What: "stimulus", Name: "sweep.toml", Link: w.page.Link("stimulus", "sweep.toml", send(excite.Stimulus.Encode))},
	}
}

// stimulusAudio is a stimulus as a WAV file.
func stimulusAudio(s excite.Stimulus) ([]byte, error) {
	dir, err := os.MkdirTemp("", "coilsweep-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	path := filepath.Join(dir, "sweep.wav")
	if err := writeStimulus(path, filepath.Join(dir, "sweep.toml"), s, wav.Format{Encoding: wav.PCM, Bits: 24}); err != nil {
		return nil, err
	}
	return os.ReadFile(path)
}

// writeReport writes report.html into the coil's folder, as 'report' does, and
// gives a link to it.
func (w *workshop) writeReport(r *http.Request) (any, error) {
	in, err := ask[struct {
		Harness map[string]string `json:"harness"`
	}](r)
	if err != nil {
		return nil, err
	}
	coil := r.URL.Query().Get("coil")
	folder, err := w.openCoil(coil)
	if err != nil {
		return nil, err
	}
	a, err := w.coils.get(r.Context(), folder.Dir)
	if err != nil {
		return nil, err
	}
	document, err := a.document()
	if err != nil {
		return nil, err
	}
	if in.Harness != nil {
		if document.Harness, err = predictIn(newOptions(r), in.Harness, []*analysis{a}); err != nil {
			return nil, err
		}
	}
	if err := a.writePage(document); err != nil {
		return nil, err
	}
	w.coilChanged(coil)
	l, _ := w.linkFile("report", "", strings.ReplaceAll(coil, "/", "-")+"-report.html", filepath.Join(folder.Dir, "report.html"))
	return map[string]any{"link": l.Link}, nil
}

// mostMade is how many pages are kept that are on no disk.
const mostMade = 16

// linkPage gives a link to a page that was made and is on no disk. It holds
// until many others were made.
func (w *workshop) linkPage(name string, text []byte) string {
	link := w.page.Link(fmt.Sprintf("%x", sha256.Sum256(text)), name, func(rw http.ResponseWriter, r *http.Request) error {
		http.ServeContent(rw, r, "", time.Time{}, bytes.NewReader(text))
		return nil
	})
	w.mu.Lock()
	defer w.mu.Unlock()
	w.made = append(slices.DeleteFunc(w.made, func(l string) bool { return l == link }), link)
	if len(w.made) > mostMade {
		w.page.Unlink(w.made[0])
		w.made = slices.Clone(w.made[1:])
	}
	return link
}
