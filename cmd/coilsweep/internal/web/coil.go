package web

import (
	"fmt"
	"net/http"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"coilsweep/capture"
	"coilsweep/capture/partsfile"
	"coilsweep/capture/rooted"
	"coilsweep/cmd/coilsweep/internal/web/edited"
	"coilsweep/cmd/coilsweep/internal/web/recorded"
	"coilsweep/cmd/coilsweep/internal/web/site"
	"coilsweep/cmd/coilsweep/internal/web/swept"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/notation"
)

// newCoil starts a coil folder, as 'new' does. Its name follows from the coil's
// where none is given.
func (w *workshop) newCoil(r *http.Request, in struct {
	Coil    string            `json:"coil"`
	Options map[string]string `json:"options"`
}) (any, error) {
	options := workbench.NewCoil()
	if err := options.Fill(in.Options); err != nil {
		return nil, err
	}
	w.remark(options.Options)
	w.editing.Lock()
	defer w.editing.Unlock()
	coil := strings.Trim(strings.TrimSpace(in.Coil), "/")
	if coil == "" {
		if coil = w.freeFolder(options.Coil.Name); coil == "" {
			return nil, wrong("name", "Give the coil a name: its folder is called after it.")
		}
	}
	dir, err := site.Confine(w.Root, coil)
	if err != nil {
		return nil, err
	}
	for above := filepath.Dir(dir); above != w.Root && len(above) > len(w.Root); above = filepath.Dir(above) {
		if _, err := rooted.Lstat(filepath.Join(above, "coil.toml")); err == nil {
			return nil, wrong("coil", "%s is a coil itself: a coil holds no other", w.coilOf(above))
		}
	}
	if err := options.Create(dir); err != nil {
		return nil, err
	}
	w.coilChanged(coil)
	return map[string]any{"coil": coil}, nil
}

// startState starts another state of a coil: a coil of its own on the page.
func (w *workshop) startState(_ *http.Request, in struct{ Coil, State string }) (any, error) {
	folder, err := w.openCoil(in.Coil)
	if err != nil {
		return nil, err
	}
	if in.State == "" {
		return nil, wrong("state", "Say what was done to the coil, in a word.")
	}
	if folder, err = folder.InState(in.State); err == nil {
		err = folder.StartState()
	}
	if err != nil {
		return nil, wrong("state", "%v", err)
	}
	coil := w.coilOf(folder.Dir)
	w.coilChanged(coil)
	return map[string]any{"coil": coil}, nil
}

// freeFolder is a name for the folder of a coil: its letters and digits in lower
// case, with a number where that is taken.
func (w *workshop) freeFolder(name string) string {
	apart := func(c rune) bool { return !unicode.IsLetter(c) && !unicode.IsDigit(c) }
	slug := strings.Join(strings.FieldsFunc(strings.ToLower(name), apart), "-")
	if slug == "" {
		return ""
	}
	const most = 100 // bytes; what it is cut to is no half of a letter
	if len(slug) > most {
		slug = strings.Trim(strings.ToValidUTF8(slug[:most], ""), "-")
	}
	for n := 1; n < 10000; n++ {
		coil := slug
		if n > 1 {
			coil = fmt.Sprintf("%s-%d", slug, n)
		}
		dir, err := site.Confine(w.Root, coil)
		if err != nil {
			continue // no name of a folder on every system
		}
		if _, err := rooted.Lstat(dir); err != nil {
			return coil
		}
	}
	return ""
}

// coilView is what is known of a coil.
type coilView struct {
	folder  *capture.Folder
	Takes   []recorded.Take
	Result  *fit.Result // nil: none
	State   string      // of the result
	Stale   []string    // why it is out of date
	Missing []gap
	mine    partsfile.Parts // at hand
}

// viewCoil looks at a coil.
func (w *workshop) viewCoil(coil string) (*coilView, error) {
	folder, err := w.openCoil(coil)
	if err != nil {
		return nil, err
	}
	v := &coilView{folder: folder, mine: w.myParts()}
	v.Result, v.Stale = w.resultNow(folder)
	if v.Takes, err = w.viewTakes(folder, v.Result); err != nil {
		return nil, err
	}
	v.State = w.stateOf(coil, len(v.Takes), v.Result, v.Stale)
	v.findGaps(folder.Coil)
	return v, nil
}

// coilAnswer is a coil for the page.
type coilAnswer struct {
	Name   string            `json:"name"`
	SHA256 string            `json:"sha256"`
	Text   string            `json:"text"`
	Values map[string]string `json:"values"`
	Load   connected         `json:"load"`
	Latest string            `json:"latest"` // the take of which there is a first result
	HTML   places            `json:"html"`
}

func (w *workshop) getCoil(r *http.Request) (any, error) {
	coil := r.URL.Query().Get("coil")
	dir, err := w.coilDir(coil)
	if err != nil {
		return nil, err
	}
	v, err := w.viewCoil(coil)
	if err != nil {
		// It can be mended in the site.
		broken := &capture.Folder{Dir: dir}
		content, sum, rerr := broken.CoilText()
		if rerr != nil {
			return nil, err
		}
		missing := []gap{{"a coil.toml that can be read", err.Error(), "Correct it in its text"}}
		a := &coilAnswer{Name: notation.Visible(coil), SHA256: sum, Text: string(content), Values: map[string]string{}}
		a.HTML = places{"coil-missing": fragment("gaps", missing),
			"take-list": fragment("none", "The coil cannot be read.")}
		return a, nil
	}
	content, sum, err := v.folder.CoilText()
	if err != nil {
		return nil, err
	}
	partials, err := w.partials(coil, v.folder)
	if err != nil {
		return nil, err
	}
	var unfinished []recorded.Partial
	for _, dir := range partials {
		unfinished = append(unfinished, recorded.NewPartial(dir))
	}
	aside, err := v.folder.Aside()
	if err != nil {
		return nil, err
	}
	used := w.parts.Below(r.Context(), w.Root)
	a := &coilAnswer{
		Name: notation.Visible(v.folder.Coil.Title()), SHA256: sum, Text: string(content),
		Values: recorded.Values(v.folder.Coil),
		Load:   w.connectedNow(coil, v.Takes), HTML: places{
			"take-next":   fragment("chip", v.propose(used["added_c"]).chip(v.Takes)),
			"coil-folder": text(notation.Visible(coil)), "coil-missing": fragment("gaps", v.Missing),
			"meter-readings": fragment("readings", recorded.Readings(v.folder.Coil.Meter)),
			"take-list":      fragment("takes", v.Takes), "t-after": fragment("after", v.Takes),
			"take-partials": fragment("partials", unfinished), "take-aside": fragment("aside", aside),
			"used-c": fragment("used", v.used("added-c", partsfile.Texts(v.mine.Capacitors), used["added_c"])),
			"used-r": fragment("used", v.used("added-r", partsfile.Texts(v.mine.Resistors), used["added_r"])),
		},
	}
	if t := recorded.Latest(v.Takes); t != nil && t.Result != nil && t.Result.Resonance.Known() {
		a.Latest, a.HTML["stage-result"] = t.Name, swept.Digits(t.Result.Resonance, t.Result.Q,
			"Take "+notation.Visible(t.Name)+", by the fit of all takes")
	}
	return a, nil
}

// mostUsed is how many values are offered that parts had before.
const mostUsed = 8

// used are the values of the parts at hand, and of those that takes were made with, each
// once, those of this coil first, the latest before all.
func (v *coilView) used(option string, mine, everywhere []string) (values []string) {
	for _, t := range slices.Backward(v.Takes) {
		values = append(values, t.Options()[option])
	}
	once := slices.Clone(mine)
	for _, value := range append(values, everywhere...) {
		if value != "" && !slices.Contains(once, value) && len(once) < len(mine)+mostUsed {
			once = append(once, value)
		}
	}
	return once
}

// findGaps lists what coil.toml does not say; what the takes do not tell is the
// result's to say.
func (v *coilView) findGaps(c capture.Coil) {
	if c.DCR == nil {
		v.Missing = append(v.Missing, gap{"the DC resistance", "with it the takes tell more, and better",
			"Read it with a multimeter and note the temperature: 7.85k@22C 0.5%"})
	} else if c.DCR.Celsius != nil && c.CelsiusAtTakes == nil {
		v.Missing = append(v.Missing, gap{"the temperature at the takes", "copper gains 0.39 % per degree",
			"Note the coil's temperature while it is measured, in °C"})
	}
}

// changeCoil replaces coil.toml by what change makes of it, unless it is no
// longer what the page has seen.
func (w *workshop) changeCoil(r *http.Request, sum string, change func(text []byte) ([]byte, error)) (any, error) {
	coil := r.URL.Query().Get("coil")
	w.editing.Lock()
	defer w.editing.Unlock()
	dir, err := w.coilDir(coil)
	if err != nil {
		return nil, err
	}
	folder := &capture.Folder{Dir: dir} // coil.toml may be broken, and be mended
	text, _, err := folder.CoilText()
	if err == nil {
		text, err = change(text)
	}
	if err == nil {
		err = folder.ReplaceCoilText(sum, text)
	}
	if err != nil {
		return nil, err
	}
	w.changedAndFitted(coil, folder) // what the takes say depends on it
	return edited.Kept(text), nil
}

func (w *workshop) putCoil(r *http.Request, in edited.Text) (any, error) {
	return w.changeCoil(r, in.SHA256, func([]byte) ([]byte, error) { return in.Bytes(), nil })
}

func (w *workshop) setCoil(r *http.Request, in struct {
	SHA256 string            `json:"sha256"`
	Values map[string]string `json:"values"`
}) (any, error) {
	for key, text := range in.Values {
		if slices.Contains([]string{"name", "wire", "notes"}, key) {
			continue // words, not numbers
		}
		var err error
		if in.Values[key], err = quantity.WithPoint(text); err != nil {
			return nil, wrong(key, "%v", err)
		}
	}
	return w.changeCoil(r, in.SHA256, func(text []byte) ([]byte, error) { return capture.ChangeCoil(text, in.Values) })
}

func (w *workshop) addReading(r *http.Request, in struct {
	SHA256  string `json:"sha256"`
	What    string `json:"what"`
	Reading string `json:"reading"`
	AtHz    string `json:"at_hz"`
	Mode    string `json:"mode"`
	Celsius string `json:"celsius"`
}) (any, error) {
	m := capture.MeterReading{What: in.What, Mode: in.Mode}
	var err error
	for _, field := range []struct {
		name string
		text *string
	}{{"reading", &in.Reading}, {"at_hz", &in.AtHz}, {"celsius", &in.Celsius}} {
		if *field.text, err = quantity.WithPoint(*field.text); err != nil {
			return nil, wrong(field.name, "%v", err)
		}
	}
	m.Reading = in.Reading
	if m.AtHz, err = quantity.ParseHertz(in.AtHz); err != nil {
		return nil, wrong("at_hz", "want the meter's test frequency in Hz: 1000")
	}
	if in.Celsius != "" {
		celsius, err := strconv.ParseFloat(in.Celsius, 64)
		if err != nil {
			return nil, wrong("celsius", "%q is not a number: write 21.5", in.Celsius)
		}
		m.Celsius = &celsius
	}
	return w.changeCoil(r, in.SHA256, func(content []byte) ([]byte, error) {
		content, err := capture.AddReading(content, m)
		if err != nil {
			// What is wrong begins with the name of its field: "mode is …", "reading: …".
			field, rest, _ := strings.Cut(err.Error(), " ")
			fields := []string{"what", "reading", "at_hz", "mode", "celsius"}
			if field = strings.TrimSuffix(field, ":"); slices.Contains(fields, field) {
				return nil, wrong(field, "%s", strings.TrimPrefix(rest, "is "))
			}
		}
		return content, nil
	})
}

// removeReading takes a meter reading out.
func (w *workshop) removeReading(r *http.Request, in struct {
	SHA256 string `json:"sha256"`
	Index  int    `json:"index"` // from 0
}) (any, error) {
	return w.changeCoil(r, in.SHA256, func(text []byte) ([]byte, error) { return capture.RemoveReading(text, in.Index) })
}
