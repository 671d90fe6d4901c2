package web

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

	"coilsweep/cmd/coilsweep/guide"
	"coilsweep/cmd/coilsweep/internal/web/site"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/excite"
	"coilsweep/fit/evaluation"
	"coilsweep/report/data"
	"coilsweep/report/page"
	"coilsweep/report/plot"
)

// pageFiles are the files of the page that other parts of the program hold:
// the drawings of the guide, and the style of the figures.
type pageFiles struct{}

func (pageFiles) Open(name string) (fs.File, error) {
	if strings.HasPrefix(name, "guide/") && filepath.Ext(name) == ".svg" {
		return guide.Files.Open(strings.TrimPrefix(name, "guide/"))
	}
	return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
}

func (pageFiles) ReadFile(name string) ([]byte, error) {
	switch {
	case name == "plot.css":
		return []byte(plot.Palette + plot.CSS), nil
	case strings.HasPrefix(name, "guide/") && filepath.Ext(name) == ".svg":
		return guide.Files.ReadFile(strings.TrimPrefix(name, "guide/"))
	}
	return nil, &fs.PathError{Op: "read", Path: name, Err: fs.ErrNotExist}
}

// linked is a file that can be had from the site.
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
	add("report", "", base+"-report.html", filepath.Join(folder.Dir, evaluation.ReportFile))
	add("result", "", base+"-result.json", filepath.Join(folder.Dir, evaluation.ResultFile))
	add("response", "", base+"-response.csv", filepath.Join(folder.Dir, evaluation.ResponseFile))
	held, err := folder.Fingerprint()
	if err != nil {
		return nil, err
	}
	if len(held.Takes) > 0 {
		name := base + ".zip"
		files = append(files, linked{What: "archive", Name: name, Link: w.server.Link("archive "+coil, name, func(rw http.ResponseWriter, r *http.Request) error {
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
	link := w.server.Link(path, name, func(rw http.ResponseWriter, r *http.Request) error {
		if info, err := os.Lstat(path); err != nil || !info.Mode().IsRegular() {
			return site.Errorf(http.StatusNotFound, "%s is not there any more", name)
		}
		return w.server.ServeFile(rw, r, path)
	})
	return linked{What: what, Take: take, Name: name, Link: link, Bytes: info.Size(), Made: &made}, true
}

// sendArchive packs a coil as 'export' does.
func (w *workshop) sendArchive(rw http.ResponseWriter, r *http.Request, dir string) error {
	e, err := w.coils.get(r.Context(), dir)
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
	if err := data.WriteArchive(temp, data.ArchiveOf(e, true, w.Program)); err != nil {
		return err
	}
	http.ServeContent(rw, r, "", time.Now(), temp)
	return nil
}

// benchLinks are the stimulus that a take plays unless something else is asked
// for, and its description, for recordings that are made elsewhere.
func (w *workshop) benchLinks() []linked {
	send := func(make func(excite.Stimulus) ([]byte, error)) site.Handler {
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
		{What: "stimulus", Name: "sweep.wav", Link: w.server.Link("stimulus", "sweep.wav", send(stimulusAudio))},
		{What: "stimulus", Name: "sweep.toml", Link: w.server.Link("stimulus", "sweep.toml", send(excite.Stimulus.Encode))},
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
	if err := workbench.WriteStimulus(path, filepath.Join(dir, "sweep.toml"), s, workbench.PCM24); err != nil {
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
	e, err := w.coils.get(r.Context(), folder.Dir)
	if err != nil {
		return nil, err
	}
	document, err := page.NewCoilDocument(e, w.Program)
	if err != nil {
		return nil, err
	}
	if in.Harness != nil {
		if document.Harness, err = predictIn(in.Harness, e); err != nil {
			return nil, err
		}
	}
	if err := e.Write(evaluation.ReportFile, func(out io.Writer) error { return page.Coil(out, document) }); err != nil {
		return nil, err
	}
	w.coilChanged(coil)
	l, _ := w.linkFile("report", "", strings.ReplaceAll(coil, "/", "-")+"-report.html", filepath.Join(folder.Dir, evaluation.ReportFile))
	return map[string]any{"link": l.Link}, nil
}

// mostMade is how many pages are kept that are on no disk.
const mostMade = 16

// linkPage gives a link to a page that was made and is on no disk. It holds
// until many others were made.
func (w *workshop) linkPage(name string, text []byte) string {
	link := w.server.Link(fmt.Sprintf("%x", sha256.Sum256(text)), name, func(rw http.ResponseWriter, r *http.Request) error {
		http.ServeContent(rw, r, "", time.Time{}, bytes.NewReader(text))
		return nil
	})
	w.mu.Lock()
	defer w.mu.Unlock()
	w.made = append(slices.DeleteFunc(w.made, func(l string) bool { return l == link }), link)
	if len(w.made) > mostMade {
		w.server.Unlink(w.made[0])
		w.made = slices.Clone(w.made[1:])
	}
	return link
}
