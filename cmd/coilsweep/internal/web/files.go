package web

import (
	"bytes"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"coilsweep/capture"
	"coilsweep/capture/atomicfile"
	"coilsweep/capture/rooted"
	"coilsweep/cmd/coilsweep/internal/onpaper"
	"coilsweep/cmd/coilsweep/internal/web/site"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/excite"
	"coilsweep/fit/evaluation"
	"coilsweep/fit/harness"
	"coilsweep/report/data"
	"coilsweep/report/notation"
	"coilsweep/report/page"
	"coilsweep/report/plot"
)

// linked is a file that can be had from the site.
type linked struct {
	What, About string
	Take        string // empty: of all
	Name, Link  string
	Page        bool // to be looked at
	Size        string
	Made        time.Time
}

// getLinks are links to the files of a coil and to those of the bench; without a
// coil only the latter.
func (w *workshop) getLinks(r *http.Request) (any, error) {
	var files []linked
	stimulus := w.stimulusLinks()
	if coil := r.URL.Query().Get("coil"); coil != "" {
		folder, err := w.openCoil(coil)
		if err != nil {
			return nil, err
		}
		if files, err = w.coilLinks(coil, folder); err != nil {
			return nil, err
		}
	}
	return shows{HTML: places{
		"files": fragment("files", append(files, stimulus...)), "import-stimulus": fragment("stimulus", stimulus),
	}}, nil
}

func (w *workshop) coilLinks(coil string, folder *capture.Folder) (files []linked, err error) {
	base := strings.ReplaceAll(coil, "/", "-")
	add := func(l linked, path string) {
		if w.linkFile(&l, path) {
			files = append(files, l)
		}
	}
	add(linked{What: "Report", About: "one page with pictures and numbers", Name: base + "-report.html", Page: true},
		filepath.Join(folder.Dir, evaluation.ReportFile))
	add(linked{What: "Certificate", About: "to print and sign", Name: base + "-certificate.html", Page: true},
		filepath.Join(folder.Dir, evaluation.CertificateFile))
	add(linked{What: "Result", About: "all numbers, in SI units, as JSON", Name: base + "-result.json"},
		filepath.Join(folder.Dir, evaluation.ResultFile))
	add(linked{What: "Response", About: "measured and fitted curves, as CSV", Name: base + "-response.csv"},
		filepath.Join(folder.Dir, evaluation.ResponseFile))
	held, err := folder.Fingerprint()
	if err != nil {
		return nil, err
	}
	if len(held.Takes) > 0 {
		archive := linked{What: "Archive", Name: base + ".zip",
			About: "everything for a publication, as ZIP, with README and checksums"}
		archive.Link = w.server.Link("archive "+coil, archive.Name,
			func(rw http.ResponseWriter, r *http.Request) error {
				return w.sendArchive(rw, r, folder.Dir)
			})
		files = append(files, archive)
	}
	for _, t := range held.Takes {
		for _, file := range []string{capture.AudioFile, capture.FLACFile} {
			add(linked{What: "Recording", Take: t.Name, About: "the take as recorded",
				Name: base + "-" + t.Name + filepath.Ext(file)}, filepath.Join(folder.TakeDir(t.Name), file))
		}
	}
	return files, nil
}

// linkFile completes l with a link to the file at path, below the root; false where
// there is none.
func (w *workshop) linkFile(l *linked, path string) bool {
	info, err := rooted.Lstat(path)
	if err != nil || !info.Mode().IsRegular() {
		return false
	}
	name := l.Name
	l.Made, l.Size = info.ModTime(), notation.Tied(notation.Bytes(info.Size()))
	l.Link = w.server.Link(path, name, func(rw http.ResponseWriter, r *http.Request) error {
		if info, err := rooted.Lstat(path); err != nil || !info.Mode().IsRegular() {
			return site.Errorf(http.StatusNotFound, "%s is not there any more", name)
		}
		return w.server.ServeFile(rw, r, path)
	})
	return true
}

// sendArchive packs a coil as 'export' does.
func (w *workshop) sendArchive(rw http.ResponseWriter, r *http.Request, dir string) error {
	e, err := w.coils.Get(r.Context(), dir)
	if err != nil {
		return refused(err)
	}
	// The answer's status is the first thing sent: pack first.
	temp, err := os.CreateTemp("", "coilsweep-*.zip")
	if err != nil {
		return err
	}
	defer rooted.Remove(temp.Name())
	defer temp.Close()
	if err := data.WriteArchive(temp, data.ArchiveOf(e, true, w.Program)); err != nil {
		return err
	}
	http.ServeContent(rw, r, "", time.Now(), temp)
	return nil
}

// stimulusLinks are the stimulus that a take plays unless something else is asked
// for, and its description, for recordings that are made elsewhere.
func (w *workshop) stimulusLinks() []linked {
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
	stimulus := func(name string, make func(excite.Stimulus) ([]byte, error)) linked {
		return linked{What: "Stimulus", About: "to play and record elsewhere", Name: name,
			Link: w.server.Link("stimulus", name, send(make))}
	}
	return []linked{stimulus("sweep.wav", workbench.StimulusAudio), stimulus("sweep.toml", excite.Stimulus.Encode)}
}

// writeReport writes report.html into the coil's folder, or certificate.html, as 'report'
// does, and gives a link to it.
func (w *workshop) writeReport(r *http.Request, in struct {
	Harness     map[string]string `json:"harness"`
	Certificate bool              `json:"certificate"`
}) (any, error) {
	coil := r.URL.Query().Get("coil")
	folder, err := w.openCoil(coil)
	if err != nil {
		return nil, err
	}
	e, err := w.coils.Get(r.Context(), folder.Dir)
	if err != nil {
		return nil, err
	}
	document, err := page.NewCoilDocument(e, workbench.Made(), w.Program)
	if err != nil {
		return nil, err
	}
	if in.Harness != nil {
		if document.Harness, err = predictIn(in.Harness, e); err != nil {
			return nil, err
		}
	}
	name, write := evaluation.ReportFile, page.Coil
	if in.Certificate {
		name, write = evaluation.CertificateFile, page.Certificate
	}
	err = e.Write(name, func(out io.Writer) error { return write(out, document) })
	if err != nil {
		return nil, err
	}
	w.coilChanged(coil)
	l := linked{Name: strings.ReplaceAll(coil, "/", "-") + "-" + name}
	w.linkFile(&l, filepath.Join(folder.Dir, name))
	return map[string]any{"link": l.Link}, nil
}

// printFigure prints a figure of a coil as 'plot' does, and gives a link to it.
func (w *workshop) printFigure(r *http.Request, in struct {
	Coil    string            `json:"coil"`
	Options map[string]string `json:"options"`
	Format  plot.Format       `json:"format"`
	Harness map[string]string `json:"harness"` // where the coil is shown in a guitar
}) (any, error) {
	f := onpaper.NewFigure("")
	if err := f.Fill(in.Options); err != nil {
		return nil, err
	}
	dir, err := w.coilDir(in.Coil)
	if err != nil {
		return nil, err
	}
	e, err := w.coils.Get(r.Context(), dir)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := f.Print(&b, in.Format, *e.Result, func() (*harness.Prediction, error) {
		return predictIn(in.Harness, e)
	}); err != nil {
		return nil, err
	}
	name := fmt.Sprintf("%s-%s.%s", strings.ReplaceAll(in.Coil, "/", "-"), f.Kind, in.Format)
	return map[string]any{"link": w.linkPage(name, b.Bytes()), "name": name}, nil
}

// mostMade is how many pages are kept that are on no disk.
const mostMade = 16

// linkPage gives a link to a page that was made and is on no disk. It holds
// until many others were made.
func (w *workshop) linkPage(name string, text []byte) string {
	sum := atomicfile.Sum(text)
	link := w.server.Link(sum, name, func(rw http.ResponseWriter, r *http.Request) error {
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
