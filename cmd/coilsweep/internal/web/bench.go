package web

import (
	"cmp"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"maps"
	"net/http"
	"path/filepath"
	"slices"
	"strings"

	"coilsweep/capture/atomicfile"
	"coilsweep/capture/benchfile"
	"coilsweep/capture/rooted"
	"coilsweep/capture/virtual"
	"coilsweep/cmd/coilsweep/internal/web/edited"
	"coilsweep/cmd/coilsweep/internal/web/site"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/excite"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// gap is something that is missing, why it matters, and how to get it.
type gap struct{ What, Why, How string }

type benchText struct {
	SHA256 string `json:"sha256"`
	Text   string `json:"text"`
}

type calibrationState struct {
	Text  string
	Stale string // why it does not go with what a take would be now; empty: it does
}

// benchView is what is known of the bench.
type benchView struct {
	Simulated   bool
	Notes       []string          // what the simulated bench is
	File        *benchText        // nil: none
	Wrong       string            // what is wrong with the file
	Settings    map[string]string // what it states
	Calibration *calibrationState // nil: none
	Missing     []gap
}

// simulatedDir is the folder of the simulated bench's own bench.toml, in which no coil
// lies: what is stated there is never read for a real bench.
const simulatedDir = "simulated-bench"

// benchFile is the bench.toml that the page shows and changes.
func (w *workshop) benchFile() string {
	if w.isSimulated() {
		return filepath.Join(w.Root, simulatedDir, benchfile.FileName)
	}
	return filepath.Join(w.Root, benchfile.FileName)
}

// readyBench gives the simulated bench its bench.toml before it is used or changed.
func (w *workshop) readyBench() error {
	if _, err := rooted.Lstat(w.benchFile()); !w.isSimulated() || err == nil {
		return nil
	}
	w.editing.Lock()
	defer w.editing.Unlock()
	text, err := workbench.SimulatedBenchText(w.VirtualFile)
	if err == nil {
		err = rooted.MkdirAll(filepath.Dir(w.benchFile()))
	}
	if err == nil {
		err = w.replaceBench("", text)
	}
	if errors.Is(err, atomicfile.ErrChanged) {
		return nil // somebody else has just made it
	}
	return err
}

func (w *workshop) isSimulated() bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.kind == workbench.Virtual
}

// viewBench looks at the bench.
func (w *workshop) viewBench() (b benchView, err error) {
	b = benchView{Simulated: w.isSimulated(), Settings: map[string]string{}}
	if b.Simulated {
		simulated, err := workbench.LoadVirtual(w.VirtualFile)
		if err != nil {
			return b, err
		}
		b.Notes = simulatedNotes(simulated)
	}
	text, err := atomicfile.Read(w.benchFile(), atomicfile.MaxText)
	if info, lerr := rooted.Lstat(w.benchFile()); lerr == nil && !info.Mode().IsRegular() {
		return b, site.Errorf(http.StatusForbidden, "%s is no plain file: only what is in the folder itself is served",
			benchfile.FileName)
	}
	if none := errors.Is(err, fs.ErrNotExist); none && b.Simulated {
		if text, err = workbench.SimulatedBenchText(w.VirtualFile); err != nil {
			return b, err
		}
	} else if none {
		b.Missing = append(b.Missing, gap{"a description of the bench", "every take is to say what it was made with",
			"Choose devices and settings here; they are kept in bench.toml"})
		return b, nil
	} else if err != nil {
		return b, err
	}
	b.File = &benchText{atomicfile.Sum(text), string(text)}
	bench, err := benchfile.Decode(text)
	if err != nil {
		b.Wrong = err.Error()
		b.Missing = append(b.Missing, gap{"a bench.toml that can be read", err.Error(), "Correct it in its text"})
		return b, nil
	}
	b.Settings = workbench.NewBenchText().Texts(bench)
	b.Calibration = w.calibration()
	b.findGaps(bench)
	return b, nil
}

func (w *workshop) getBench(*http.Request) (any, error) {
	b, err := w.viewBench()
	if err != nil {
		return nil, err
	}
	wrong := ""
	if b.Wrong != "" {
		wrong = "bench.toml cannot be read: " + b.Wrong
	}
	type caution struct{ Head, Text string }
	var cautions []caution
	var heads []string
	for _, c := range words.Cautions() {
		head, rest, _ := strings.Cut(c, ": ")
		cautions, heads = append(cautions, caution{head, rest}), append(heads, head+".")
	}
	under := "Simulated: no sound is made."
	if !b.Simulated {
		under = strings.Join(heads[:min(4, len(heads))], " ") + " Space starts and stops, Esc stops."
	}
	kind, simulated := workbench.SoundCard, template.HTML("")
	if b.Simulated {
		kind, simulated = workbench.Virtual, fragment("simulated", b.Notes)
	}
	return struct {
		Kind     string            `json:"kind"`
		File     *benchText        `json:"file"`
		Settings map[string]string `json:"settings"`
		Defaults map[string]string `json:"defaults"`
		HTML     places            `json:"html"`
	}{kind, b.File, b.Settings, workbench.NewMeasurement(w.Program).Defaults(), places{
		"simulated": simulated, "bench-error": fragment("alarm", wrong), "bench-knows": fragment("knows", b.knows()),
		"bench-missing": fragment("gaps", b.Missing),
		"cautions":      fragment("cautions", cautions), "sound-cautions": fragment("cautions", cautions),
		"stage-caution": text(under), "root": text(notation.Visible(w.Root)),
	}}, nil
}

func simulatedNotes(b virtual.Bench) []string {
	notes := []string{b.Name, b.Coil.Name}
	if b.Notes != "" {
		notes = append(notes, b.Notes)
	}
	return slices.DeleteFunc(notes, func(s string) bool { return s == "" })
}

// known is one of the things that a bench should know.
type known struct {
	Have       bool
	What, Text string
}

// knows is what the bench knows, in words.
func (b benchView) knows() []known {
	s := b.Settings
	or := func(name, otherwise string) string { return cmp.Or(s[name], otherwise) }
	devices := known{b.File != nil || b.Simulated, "Devices", "not said yet: the system's own would be used"}
	switch {
	case b.Simulated:
		devices.Text = "the simulated bench"
	case b.File != nil:
		devices.Text = or("input", "the system's own input") + " → " + or("output", "the system's own output")
	}
	second := known{true, "Second channel", ""}
	switch s["reference"] {
	case "current":
		second.Text = "current, over " + or("sense-r", "a sense resistor")
	case "loopback":
		second.Text = "loop-back of the output"
	default:
		second = known{false, second.What, "nothing: the drive is taken to be known"}
	}
	fixture := known{s["fixture-r"] != "" && s["fixture-c"] != "", "Fixture",
		"not known: the coil's own C cannot be told from the cable's"}
	if s["fixture-r"] != "" || s["fixture-c"] != "" {
		fixture.Text = "R " + or("fixture-r", "not known") + ", C " + or("fixture-c", "not known")
	}
	calibration := known{false, "Calibration", "none: needed where no second channel is used"}
	if c := b.Calibration; c != nil {
		calibration.Have, calibration.Text = c.Stale == "", c.Text
		if c.Stale != "" {
			calibration.Text += "; out of date: " + c.Stale
		}
	}
	return []known{devices, second, fixture, calibration}
}

// calibration tells of the calibration, and whether it goes with what a take
// would be now; nil: there is none.
func (w *workshop) calibration() *calibrationState {
	m, plan, planErr := w.usual()
	c, file, err := m.Calibration(w.Root)
	if file == "" {
		return nil
	}
	if err != nil {
		return &calibrationState{file, err.Error()}
	}
	state := &calibrationState{Text: workbench.NewCalibrationResult(*c, file).Line()}
	if err = planErr; err == nil {
		err = c.Covers(plan.Take)
	}
	if device := w.device.State().Device; err == nil && device.InputDevice != "" {
		err = c.Matches(device, m.Bench.OutputChannel)
	}
	if err != nil {
		state.Stale = err.Error()
	}
	return state
}

// findGaps lists what the bench does not say.
func (b *benchView) findGaps(bench benchfile.Bench) {
	add := func(missing bool, what, why, how string) {
		if missing {
			b.Missing = append(b.Missing, gap{what, why, how})
		}
	}
	add(!b.Simulated && (bench.Card.Input == "" || bench.Card.Output == ""),
		"the devices", "the system's own may change from day to day", "Choose input and output")
	add(bench.Drive.Kind == "", "how the exciter is driven", "it is taken to be driven by a current",
		"Say current for a large series resistor, else voltage with resistance and inductance of the exciter circuit")
	add(bench.Fixture.Capacitance == nil, "the fixture's capacitance",
		"without it the coil's own capacitance cannot be told from that of cable and input",
		"Measure the fixture with a known resistor, or type it")
	add(bench.Fixture.Resistance == nil, "the fixture's resistance", "the input's resistance damps the coil",
		"Measure the fixture with a known resistor, or type it")
	k := bench.Reference.Kind
	add((k == "" || k == "none") && b.Calibration == nil, "the sound card's own response",
		"its edges are in every take",
		"Measure the sound card with a loop-back cable, or record a reference on the second channel")
}

// replaceBench writes bench.toml, if it is still the one that was seen; nil removes it.
func (w *workshop) replaceBench(sha256Hex string, text []byte) error {
	if text != nil {
		if _, err := benchfile.Decode(text); err != nil {
			return fmt.Errorf("%s: %w", benchfile.FileName, err)
		}
	}
	if err := atomicfile.Replace(w.benchFile(), sha256Hex, text); err != nil {
		return err
	}
	w.changed("bench")
	w.listen()
	return nil
}

func (w *workshop) putBench(r *http.Request, in edited.Text) (any, error) {
	if err := w.readyBench(); err != nil {
		return nil, err
	}
	w.editing.Lock()
	defer w.editing.Unlock()
	return edited.Kept(in.Bytes()), w.replaceBench(in.SHA256, in.Bytes())
}

func (w *workshop) setBench(r *http.Request, in struct {
	SHA256  string            `json:"sha256"`
	Options map[string]string `json:"options"`
}) (any, error) {
	options := workbench.NewBenchText()
	if err := options.Fill(in.Options); err != nil {
		return nil, err
	}
	w.remark(options.Options)
	if err := w.readyBench(); err != nil {
		return nil, err
	}
	w.editing.Lock()
	defer w.editing.Unlock()
	text, err := options.Change(w.benchFile(), slices.Collect(maps.Keys(in.Options)))
	if err != nil {
		return nil, err
	}
	return edited.Kept(text), w.replaceBench(in.SHA256, text)
}

func (w *workshop) chooseKind(r *http.Request, in struct {
	Bench string `json:"bench"`
}) (any, error) {
	if in.Bench != "soundcard" && in.Bench != "virtual" {
		return nil, wrong("bench", "want soundcard or virtual")
	}
	w.mu.Lock()
	w.kind = in.Bench
	w.mu.Unlock()
	w.listen()
	w.changed("bench")
	return done{}, nil
}

// usualStimulus is what a take plays unless something else is asked for.
func (w *workshop) usualStimulus() (excite.Stimulus, error) {
	_, plan, err := w.usual()
	if err != nil {
		return excite.Stimulus{}, err
	}
	return plan.Take.Stimulus, nil
}
