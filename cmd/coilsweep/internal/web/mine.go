package web

import (
	"fmt"
	"net/http"
	"path/filepath"
	"strings"

	"coilsweep/capture/atomicfile"
	"coilsweep/capture/partsfile"
	"coilsweep/cmd/coilsweep/internal/web/stock"
	"coilsweep/excite/quantity"
)

// myParts are the capacitors and resistors at hand at the bench that is served. Where
// the list cannot be read there are none; the form says why.
func (w *workshop) myParts() partsfile.Parts {
	p, _, _ := partsfile.Read(w.partsPath())
	return p
}

func (w *workshop) partsPath() string { return filepath.Join(w.Root, partsfile.FileName) }

// getParts are the parts as the form shows them, one a line.
func (w *workshop) getParts(*http.Request) (any, error) {
	p, text, err := partsfile.Read(w.partsPath())
	sum, broken := "", ""
	if err != nil {
		broken = fmt.Sprintf("%s cannot be read: %v", partsfile.FileName, err)
	}
	if len(text) > 0 {
		sum = atomicfile.Sum(text)
	}
	return struct {
		SHA256     string `json:"sha256"`
		Capacitors string `json:"capacitors"`
		Resistors  string `json:"resistors"`
		HTML       places `json:"html"`
	}{sum, strings.Join(partsfile.Texts(p.Capacitors), "\n"), strings.Join(partsfile.Texts(p.Resistors), "\n"),
		places{"my-parts-error": fragment("alarm", broken)}}, nil
}

// putParts keeps the parts.
func (w *workshop) putParts(_ *http.Request, in struct {
	SHA256     string `json:"sha256"`
	Capacitors string `json:"capacitors"`
	Resistors  string `json:"resistors"`
	Coil       string `json:"coil"` // to be advised anew; empty: none is shown
}) (any, error) {
	capacitors, err := stock.Lines(in.Capacitors, quantity.Farad, "added-c")
	if err != nil {
		return nil, wrong("capacitors", "%v", err)
	}
	resistors, err := stock.Lines(in.Resistors, quantity.Ohm, "added-r")
	if err != nil {
		return nil, wrong("resistors", "%v", err)
	}
	w.editing.Lock()
	defer w.editing.Unlock()
	_, text, err := partsfile.Read(w.partsPath())
	if err != nil {
		return nil, err
	}
	if text, err = partsfile.Change(text, capacitors, resistors); err == nil {
		err = partsfile.Replace(w.partsPath(), in.SHA256, text)
	}
	if err != nil {
		return nil, err
	}
	w.changed("parts", "coils") // what is proposed for each of them
	if in.Coil != "" {
		if folder, err := w.openCoil(in.Coil); err == nil {
			w.changedAndFitted(in.Coil, folder)
		}
	}
	return done{}, nil
}
