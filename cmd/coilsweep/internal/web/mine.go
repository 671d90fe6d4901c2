package web

import (
	"fmt"
	"net/http"
	"path/filepath"
	"strings"

	"coilsweep/capture/atomicfile"
	"coilsweep/capture/partsfile"
	"coilsweep/cmd/coilsweep/internal/web/edited"
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
		Text       string `json:"text"`
		Capacitors string `json:"capacitors"`
		Resistors  string `json:"resistors"`
		HTML       places `json:"html"`
	}{sum, string(text), strings.Join(partsfile.Texts(p.Capacitors), "\n"),
		strings.Join(partsfile.Texts(p.Resistors), "\n"), places{"my-parts-error": fragment("alarm", broken)}}, nil
}

// putParts keeps the text of the parts.
func (w *workshop) putParts(r *http.Request, in edited.Text) (any, error) {
	w.editing.Lock()
	defer w.editing.Unlock()
	if in.Text != nil {
		if _, err := partsfile.Decode(in.Bytes()); err != nil {
			return nil, fmt.Errorf("%s: %w", partsfile.FileName, err)
		}
	}
	return edited.Kept(in.Bytes()), w.replaceParts(in.SHA256, in.Bytes(), r.URL.Query().Get("coil"))
}

// setParts keeps the parts as the form has them.
func (w *workshop) setParts(r *http.Request, in struct {
	SHA256     string `json:"sha256"`
	Capacitors string `json:"capacitors"`
	Resistors  string `json:"resistors"`
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
		err = w.replaceParts(in.SHA256, text, r.URL.Query().Get("coil"))
	}
	return edited.Kept(text), err
}

// replaceParts writes parts.toml, if it is still the one that was seen; nil removes it. The
// coil that is shown, if one is, is advised anew.
func (w *workshop) replaceParts(sha256Hex string, text []byte, coil string) error {
	if err := partsfile.Replace(w.partsPath(), sha256Hex, text); err != nil {
		return err
	}
	w.changed("parts", "coils") // what is proposed for each of them
	if coil != "" {
		if folder, err := w.openCoil(coil); err == nil {
			w.changedAndFitted(coil, folder)
		}
	}
	return nil
}
