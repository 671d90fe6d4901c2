package web

import (
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"
	"unicode"

	"coilsweep/capture"
	"coilsweep/capture/wav"
	"coilsweep/cmd/coilsweep/internal/web/site"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/excite"
	"coilsweep/fit"
	"coilsweep/fit/evaluation"
	"coilsweep/report/words"
)

// coilLine is a coil in the list.
type coilLine struct {
	Coil        string       `json:"coil"`
	Name        string       `json:"name"`
	Takes       int          `json:"takes"`
	State       string       `json:"state"`
	Measured    *time.Time   `json:"measured,omitempty"`
	Flags       []string     `json:"flags"`
	Resonance   fit.Quantity `json:"resonance_hz"`
	Q           fit.Quantity `json:"q"`
	ResonanceOf string       `json:"resonance_of,omitempty"` // what both are of: "coil alone" or "take bare"
	Inductance  fit.Quantity `json:"inductance_h"`
	Capacitance fit.Quantity `json:"capacitance_f"`
	Resistance  fit.Quantity `json:"resistance_ohm"`
}

func (w *workshop) getCoils(r *http.Request) (any, error) {
	known, bad, err := evaluation.List(r.Context(), w.Root, w.Program)
	if err != nil {
		return nil, err
	}
	unreadable := []string{}
	for _, err := range bad {
		unreadable = append(unreadable, err.Error())
	}
	coils := []coilLine{}
	for _, k := range known {
		l := words.Listed(k)
		coil := w.coilOf(l.Folder)
		if _, err := w.coilDir(coil); err != nil {
			unreadable = append(unreadable, err.Error())
			continue
		}
		hz, q, of := l.Resonance()
		line := coilLine{
			Coil: coil, Name: l.Coil, Takes: l.Takes, State: w.stateOf(coil, l.Takes, l.Result, l.Stale), Flags: append([]string{}, l.Flags...),
			Resonance: hz, Q: q, ResonanceOf: of,
		}
		line.Inductance, line.Capacitance, line.Resistance = fit.Unknown("not fitted yet"), fit.Unknown("not fitted yet"), fit.Unknown("not fitted yet")
		if l.Result != nil {
			line.Inductance, line.Capacitance, line.Resistance = l.Result.Inductance, l.Result.Capacitance, l.Result.Resistance
		}
		if !l.Measured.IsZero() {
			line.Measured = &l.Measured
		}
		coils = append(coils, line)
	}
	return map[string]any{"coils": coils, "unreadable": unreadable}, nil
}

// newCoil starts a coil folder, as 'new' does. Its name follows from the coil's
// where none is given.
func (w *workshop) newCoil(r *http.Request) (any, error) {
	in, err := ask[struct {
		Coil    string            `json:"coil"`
		Options map[string]string `json:"options"`
	}](r)
	if err != nil {
		return nil, err
	}
	options := workbench.NewCoil()
	if err := options.Fill(in.Options); err != nil {
		return nil, err
	}
	w.editing.Lock()
	defer w.editing.Unlock()
	coil := strings.Trim(strings.TrimSpace(in.Coil), "/")
	if coil == "" {
		if coil = w.freeFolder(options.Coil.Name); coil == "" {
			return nil, &site.Error{Status: http.StatusUnprocessableEntity, Text: "is missing: what the coil is called", Field: "name"}
		}
	}
	dir, err := site.Confine(w.Root, coil)
	if err != nil {
		return nil, err
	}
	for above := filepath.Dir(dir); above != w.Root && len(above) > len(w.Root); above = filepath.Dir(above) {
		if _, err := os.Lstat(filepath.Join(above, "coil.toml")); err == nil {
			return nil, &site.Error{Status: http.StatusUnprocessableEntity, Text: w.coilOf(above) + " is a coil itself: a coil holds no other", Field: "coil"}
		}
	}
	if err := options.Create(dir); err != nil {
		return nil, err
	}
	w.coilChanged(coil)
	return map[string]any{"coil": coil}, nil
}

// freeFolder is a name for the folder of a coil: its letters and digits in lower
// case, with a number where that is taken.
func (w *workshop) freeFolder(name string) string {
	slug := strings.Join(strings.FieldsFunc(strings.ToLower(name), func(c rune) bool { return !unicode.IsLetter(c) && !unicode.IsDigit(c) }), "-")
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
		if _, err := os.Lstat(dir); err != nil {
			return coil
		}
	}
	return ""
}

// coilState is a coil as the page shows it.
type coilState struct {
	Coil     string              `json:"coil"`
	Name     string              `json:"name"`
	SHA256   string              `json:"sha256"`
	Text     string              `json:"text"`
	Values   map[string]string   `json:"values"`
	Meter    []readingState      `json:"meter"`
	Takes    []takeState         `json:"takes"`
	Partials []partialState      `json:"partials"`
	Aside    []asideState        `json:"aside"`
	Missing  []gap               `json:"missing"`
	Parts    map[string][]string `json:"parts"`
	State    string              `json:"state"`           // of the result
	Error    string              `json:"error,omitempty"` // what is wrong with the text: all else is empty then
}

type readingState struct {
	Index    int      `json:"index"`
	What     string   `json:"what"`
	Reading  string   `json:"reading"`
	AtHz     float64  `json:"at_hz"`
	Mode     string   `json:"mode,omitempty"`
	Celsius  *float64 `json:"celsius,omitempty"`
	UseInFit bool     `json:"use_in_fit"`
}

type takeState struct {
	Name       string             `json:"name"`
	AddedC     *string            `json:"added_c"` // as given; null: none
	AddedR     *string            `json:"added_r"`
	Started    time.Time          `json:"started"`
	Flags      []capture.Flag     `json:"flags"`
	FlagWords  []string           `json:"flag_words"`
	FitForUse  bool               `json:"fit_for_use"`
	Advice     []string           `json:"advice"`
	PeakDBFS   *float64           `json:"peak_dbfs,omitempty"`
	SNRDB      *float64           `json:"snr_db,omitempty"`
	LevelDBFS  float64            `json:"level_dbfs"`
	Repeats    int                `json:"repeats"`
	Shaped     bool               `json:"shaped,omitempty"` // after another take
	Simulated  bool               `json:"simulated"`
	Source     string             `json:"source"`
	Linearity  *capture.Linearity `json:"linearity,omitempty"`
	Resonance  *fit.Quantity      `json:"resonance_hz,omitempty"`
	Q          *fit.Quantity      `json:"q,omitempty"`
	Unreadable string             `json:"unreadable,omitempty"`
}

type partialState struct {
	Partial string     `json:"partial"`
	Take    string     `json:"take"`
	Started *time.Time `json:"started,omitempty"` // when it was last written
	Seconds float64    `json:"seconds"`
	Repeats int        `json:"repeats"` // whole sweeps that may be in it
	Text    string     `json:"text"`
}

type asideState struct {
	Name    string     `json:"name"`
	Of      string     `json:"of"`
	Started *time.Time `json:"started,omitempty"`
}

func (w *workshop) getCoil(r *http.Request) (any, error) {
	coil := r.URL.Query().Get("coil")
	dir, err := w.coilDir(coil)
	if err != nil {
		return nil, err
	}
	folder, err := capture.OpenFolder(dir)
	if err != nil {
		// It can be mended in the site.
		broken := &capture.Folder{Dir: dir}
		text, sum, rerr := broken.CoilText()
		if rerr != nil {
			return nil, err
		}
		return &coilState{
			Coil: coil, Name: coil, SHA256: sum, Text: string(text), Values: map[string]string{}, Meter: []readingState{}, Takes: []takeState{},
			Partials: []partialState{}, Aside: []asideState{}, Missing: []gap{{"a coil.toml that can be read", err.Error(), "Correct it in its text"}}, State: resultNone, Error: err.Error(),
		}, nil
	}
	return w.coilState(r, coil, folder)
}

func (w *workshop) coilState(r *http.Request, coil string, folder *capture.Folder) (*coilState, error) {
	text, sum, err := folder.CoilText()
	if err != nil {
		return nil, err
	}
	s := &coilState{
		Coil: coil, Name: folder.Coil.Name, SHA256: sum, Text: string(text), Values: coilValues(folder.Coil),
		Meter: []readingState{}, Takes: []takeState{}, Partials: []partialState{}, Aside: []asideState{}, Missing: []gap{},
		Parts: w.parts.below(r.Context(), w.Root),
	}
	for i, m := range folder.Coil.Meter {
		s.Meter = append(s.Meter, readingState{i, m.What, m.Reading, m.AtHz, m.Mode, m.Celsius, m.UseInFit})
	}
	takes, unreadable, err := evaluation.ReadTakes(folder, w.coils.before(folder.Dir))
	if err != nil {
		return nil, err
	}
	result, stale := w.resultNow(folder)
	of := map[string]fit.TakeResult{}
	if result != nil {
		for _, t := range result.Takes {
			of[t.Name] = t
		}
	}
	s.State = w.stateOf(coil, len(takes)+len(unreadable), result, stale)
	for _, t := range takes {
		s.Takes = append(s.Takes, newTakeState(t, of))
	}
	for _, u := range unreadable {
		s.Takes = append(s.Takes, takeState{Name: u.Name, Flags: []capture.Flag{evaluation.FlagUnreadable}, FlagWords: []string{}, Advice: []string{u.Err.Error()}, Unreadable: u.Err.Error()})
	}
	partials, err := w.partials(coil, folder)
	if err != nil {
		return nil, err
	}
	for _, dir := range partials {
		s.Partials = append(s.Partials, newPartialState(dir))
	}
	aside, err := folder.Aside()
	if err != nil {
		return nil, err
	}
	for _, a := range aside {
		state := asideState{Name: a.Name, Of: a.Of}
		if !a.Started.IsZero() {
			state.Started = &a.Started
		}
		s.Aside = append(s.Aside, state)
	}
	s.findGaps(folder.Coil)
	return s, nil
}

// coilValues are the single values of coil.toml as texts.
func coilValues(c capture.Coil) map[string]string {
	v := map[string]string{"name": c.Name, "wire": c.Wire, "notes": c.Notes, "dcr": textOf(c.DCR)}
	if c.CelsiusAtTakes != nil {
		v["celsius_at_takes"] = fmt.Sprint(*c.CelsiusAtTakes)
	}
	if c.PartsScale > 0 {
		v["parts_scale_percent"] = fmt.Sprint(c.PartsScale)
	}
	if n := c.Winding; n != nil {
		v["winding.wire"], v["winding.core_length"], v["winding.core_width"], v["winding.height"] = n.Wire, n.CoreLength, n.CoreWidth, n.Height
		if n.Turns > 0 {
			v["winding.turns"] = fmt.Sprint(n.Turns)
		}
	}
	for key, text := range v {
		if text == "" {
			delete(v, key)
		}
	}
	return v
}

func newTakeState(t capture.Take, results map[string]fit.TakeResult) takeState {
	s := takeState{
		Name: t.Name, Started: t.Started, Flags: append([]capture.Flag{}, t.Quality.Flags...), FlagWords: []string{},
		FitForUse: t.Unfit() == nil, Advice: forPage(workbench.TakeAdvice(t)),
		PeakDBFS: workbench.Finite(t.Quality.PeakDBFS), SNRDB: workbench.Measured(t.Quality.SNRDB), LevelDBFS: t.Stimulus.LevelDBFS, Repeats: t.Stimulus.Repeats,
		Shaped: len(t.Stimulus.Shape) > 0, Simulated: t.Bench.Source == "virtual", Source: t.Bench.Source, Linearity: t.Linearity,
	}
	if c := textOf(t.Load.AddedC); c != "" {
		s.AddedC = &c
	}
	if c := textOf(t.Load.AddedR); c != "" {
		s.AddedR = &c
	}
	for _, f := range t.Quality.Flags {
		s.FlagWords = append(s.FlagWords, workbench.ForPage(workbench.FlagAdvice(f, t.Quality)))
	}
	if of, ok := results[t.Name]; ok && of.AudioSHA256 == t.Audio.SHA256 && of.Used {
		s.Resonance, s.Q = &of.Resonance, &of.Q
	}
	return s
}

// newPartialState looks at a recording that was not finished.
func newPartialState(dir string) partialState {
	name := filepath.Base(dir)
	take, _, _ := strings.Cut(name, ".")
	p := partialState{Partial: name, Take: take, Text: "an unfinished recording"}
	if info, err := os.Stat(dir); err == nil {
		at := info.ModTime()
		p.Started = &at
	}
	data, err := os.ReadFile(filepath.Join(dir, "stimulus.toml"))
	if err != nil {
		p.Text += " without its stimulus"
		return p
	}
	s, err := excite.Decode(data)
	if err != nil {
		p.Text += ": " + err.Error()
		return p
	}
	frames, err := framesOf(filepath.Join(dir, "capture.wav"))
	if err != nil {
		p.Text += " of which nothing can be read"
		return p
	}
	p.Seconds = float64(frames) / float64(s.RateHz)
	if frames >= s.LeadInSamples+s.SweepSamples {
		p.Repeats = min(1+(frames-s.LeadInSamples-s.SweepSamples)/s.PeriodSamples, s.Repeats)
	}
	p.Text = fmt.Sprintf("%.1f s of take %s: %d of %d sweeps", p.Seconds, take, p.Repeats, s.Repeats)
	if p.Repeats == 0 {
		p.Text = fmt.Sprintf("%.1f s of take %s: less than one sweep, of no use", p.Seconds, take)
	}
	return p
}

// framesOf is how much a WAV file holds, closed or not.
func framesOf(path string) (int, error) {
	f, err := os.Open(path)
	if err != nil {
		return 0, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return 0, err
	}
	r, err := wav.NewReader(f, info.Size())
	if err != nil {
		return 0, err
	}
	return int(r.Frames), nil
}

// findGaps lists what coil.toml does not say; what the takes do not tell is the
// result's to say.
func (s *coilState) findGaps(c capture.Coil) {
	add := func(what, why, how string) { s.Missing = append(s.Missing, gap{what, why, how}) }
	if c.DCR == nil {
		add("the DC resistance", "with it the takes tell more, and better", "Read it with a multimeter and note the temperature: 7.85k@22C 0.5%")
	} else if c.DCR.Celsius != nil && c.CelsiusAtTakes == nil {
		add("the temperature at the takes", "copper gains 0.39 % per degree", "Note the coil's temperature while it is measured, in °C")
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
	return w.coilState(r, coil, folder)
}

func (w *workshop) putCoil(r *http.Request) (any, error) {
	in, err := ask[struct {
		SHA256 string `json:"sha256"`
		Text   string `json:"text"`
	}](r)
	if err != nil {
		return nil, err
	}
	return w.changeCoil(r, in.SHA256, func([]byte) ([]byte, error) { return []byte(in.Text), nil })
}

func (w *workshop) setCoil(r *http.Request) (any, error) {
	in, err := ask[struct {
		SHA256 string            `json:"sha256"`
		Values map[string]string `json:"values"`
	}](r)
	if err != nil {
		return nil, err
	}
	return w.changeCoil(r, in.SHA256, func(text []byte) ([]byte, error) { return capture.ChangeCoil(text, in.Values) })
}

func (w *workshop) addReading(r *http.Request) (any, error) {
	in, err := ask[struct {
		SHA256   string   `json:"sha256"`
		What     string   `json:"what"`
		Reading  string   `json:"reading"`
		AtHz     float64  `json:"at_hz"`
		Mode     string   `json:"mode"`
		Celsius  *float64 `json:"celsius"`
		UseInFit bool     `json:"use_in_fit"`
	}](r)
	if err != nil {
		return nil, err
	}
	return w.changeCoil(r, in.SHA256, func(text []byte) ([]byte, error) {
		text, err := capture.AddReading(text, capture.MeterReading{
			What: in.What, Reading: in.Reading, AtHz: in.AtHz, Mode: in.Mode, Celsius: in.Celsius, UseInFit: in.UseInFit,
		})
		if err != nil {
			field, _, _ := strings.Cut(err.Error(), " ")
			return nil, &site.Error{Status: http.StatusUnprocessableEntity, Text: err.Error(), Field: strings.TrimSuffix(field, ":")}
		}
		return text, nil
	})
}

// textOf is a value as it was typed; nothing for one that was not given.
func textOf[T fmt.Stringer](v *T) string {
	if v == nil {
		return ""
	}
	return (*v).String()
}

// forPage are texts as a page says them.
func forPage(texts []string) []string {
	out := make([]string, len(texts))
	for i, text := range texts {
		out[i] = workbench.ForPage(text)
	}
	return out
}
