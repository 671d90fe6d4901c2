package web

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"time"

	"coilsweep/capture/atomicfile"
	"coilsweep/capture/benchfile"
	"coilsweep/capture/soundcard"
	"coilsweep/capture/virtual"
	"coilsweep/cmd/coilsweep/internal/web/site"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/excite"
	"coilsweep/report/words"
)

// gap is something that is missing, why it matters, and how to get it.
type gap struct {
	What string `json:"what"`
	Why  string `json:"why"`
	How  string `json:"how"`
}

type benchText struct {
	Path   string `json:"path"`
	SHA256 string `json:"sha256"`
	Text   string `json:"text"`
}

type calibrationState struct {
	Date  time.Time `json:"date"`
	Rate  int       `json:"rate"`
	Text  string    `json:"text"`
	Stale bool      `json:"stale"`
	Why   string    `json:"why,omitempty"`
}

type fixtureState struct {
	Text string         `json:"text"`
	Date benchfile.Date `json:"date,omitempty"`
	R    string         `json:"r,omitempty"`
	C    string         `json:"c,omitempty"`
	How  string         `json:"how,omitempty"`
}

// benchState is the bench as the page shows it.
type benchState struct {
	Program   string `json:"program"`
	Root      string `json:"root"`
	Kind      string `json:"kind"` // "soundcard" or "virtual"
	Simulated bool   `json:"simulated"`
	// SimulatedNotes say what the simulated bench is, SimulatedSettings what
	// its owner would write into bench.toml.
	SimulatedNotes    []string            `json:"simulated_notes,omitempty"`
	SimulatedSettings map[string]string   `json:"simulated_settings,omitempty"`
	File              *benchText          `json:"file"`            // null: none
	Error             string              `json:"error,omitempty"` // what is wrong with the file
	Settings          map[string]string   `json:"settings"`
	Defaults          map[string]string   `json:"defaults"`
	Calibration       *calibrationState   `json:"calibration"`
	Fixture           *fixtureState       `json:"fixture"`
	Parts             map[string][]string `json:"parts"`
	Missing           []gap               `json:"missing"`
	Cautions          []string            `json:"cautions"`
}

func (w *workshop) benchFile() string { return filepath.Join(w.Root, benchfile.FileName) }

func (w *workshop) getBench(r *http.Request) (any, error) {
	w.mu.Lock()
	kind := w.kind
	w.mu.Unlock()
	b := benchState{
		Program: w.Program, Root: w.Root, Kind: kind, Simulated: kind == "virtual",
		Settings: map[string]string{}, Defaults: workbench.NewMeasurement(w.Program).Defaults(), Missing: []gap{},
		Cautions: words.Cautions(), Parts: w.parts.below(r.Context(), w.Root),
	}
	if b.Simulated {
		simulated, err := w.simulated()
		if err != nil {
			return nil, err
		}
		b.SimulatedNotes = simulatedNotes(simulated)
		b.SimulatedSettings = simulatedSettings(simulated)
	}
	text, err := os.ReadFile(w.benchFile())
	if info, lerr := os.Lstat(w.benchFile()); lerr == nil && !info.Mode().IsRegular() {
		return nil, site.Errorf(http.StatusForbidden, "%s is no plain file: only what is in the folder itself is served", benchfile.FileName)
	}
	if errors.Is(err, fs.ErrNotExist) {
		b.Missing = append(b.Missing, gap{"a description of the bench", "every take is to say what it was made with", "Choose devices and settings here; they are kept in bench.toml"})
		return b, nil
	} else if err != nil {
		return nil, err
	}
	sum := sha256.Sum256(text)
	b.File = &benchText{benchfile.FileName, hex.EncodeToString(sum[:]), string(text)}
	bench, err := benchfile.Decode(text)
	if err != nil {
		b.Error = err.Error()
		b.Missing = append(b.Missing, gap{"a bench.toml that can be read", err.Error(), "Correct it in its text"})
		return b, nil
	}
	b.Settings = workbench.NewBenchText().Texts(bench)
	b.describe(bench)
	w.describeCalibration(&b)
	b.findGaps(bench)
	return b, nil
}

// simulated is the simulated bench of this site.
func (w *workshop) simulated() (virtual.Bench, error) {
	return workbench.LoadVirtual(w.VirtualFile)
}

func simulatedNotes(b virtual.Bench) []string {
	notes := []string{b.Name, b.Coil.Name}
	if b.Notes != "" {
		notes = append(notes, b.Notes)
	}
	return slices.DeleteFunc(notes, func(s string) bool { return s == "" })
}

// simulatedSettings are what the owner of a simulated bench knows of it, with
// the tolerances that such parts usually have (common practice).
func simulatedSettings(b virtual.Bench) map[string]string {
	settings := map[string]string{"drive": "current"}
	if b.Fixture.Capacitance.SI > 0 {
		settings["fixture-c"] = b.Fixture.Capacitance.Text + " 5%"
	}
	if b.Fixture.Resistance.SI > 0 {
		settings["fixture-r"] = b.Fixture.Resistance.Text + " 1%"
	}
	if kind := b.Reference.Kind; kind != "" && kind != "none" {
		settings["reference"] = kind
		if kind == "current" && b.Reference.SenseR.SI > 0 {
			settings["sense-r"] = b.Reference.SenseR.Text + " 0.1%"
		}
	}
	return settings
}

// describe tells of the fixture.
func (b *benchState) describe(bench benchfile.Bench) {
	f := bench.Fixture
	if f.Resistance == nil && f.Capacitance == nil {
		return
	}
	b.Fixture = &fixtureState{Date: f.Date, R: textOf(f.Resistance), C: textOf(f.Capacitance), How: f.How}
	b.Fixture.Text = "R " + orUnknown(b.Fixture.R) + ", C " + orUnknown(b.Fixture.C)
}

func orUnknown(s string) string {
	if s == "" {
		return "not known"
	}
	return s
}

// describeCalibration tells of the calibration, and whether it goes with what a
// take would be now.
func (w *workshop) describeCalibration(b *benchState) {
	m, plan, planErr := w.usual()
	c, file, err := m.Calibration(w.Root)
	if file == "" {
		return
	}
	if err != nil {
		b.Calibration = &calibrationState{Text: file, Stale: true, Why: err.Error()}
		return
	}
	b.Calibration = &calibrationState{Date: c.Made, Rate: c.RateHz, Text: workbench.NewCalibrationResult(*c, file).Line()}
	if err = planErr; err == nil {
		err = c.Covers(plan.Take)
	}
	if device := w.device.State().Device; err == nil && device.InputDevice != "" {
		err = c.Matches(device, m.Bench.OutputChannel)
	}
	if err != nil {
		b.Calibration.Stale, b.Calibration.Why = true, err.Error()
	}
}

// findGaps lists what the bench does not say.
func (b *benchState) findGaps(bench benchfile.Bench) {
	add := func(what, why, how string) { b.Missing = append(b.Missing, gap{what, why, how}) }
	if !b.Simulated && (bench.Card.Input == "" || bench.Card.Output == "") {
		add("the devices", "the system's own may change from day to day", "Choose input and output")
	}
	if bench.Drive.Kind == "" {
		add("how the exciter is driven", "it is taken to be driven by a current", "Say current for a large series resistor, else voltage with the loop's resistance and inductance")
	}
	if bench.Fixture.Capacitance == nil {
		add("the fixture's capacitance", "without it the coil's own capacitance cannot be told from that of cable and input", "Measure the fixture with a known resistor, or type it")
	}
	if bench.Fixture.Resistance == nil {
		add("the fixture's resistance", "the input's resistance damps the coil", "Measure the fixture with a known resistor, or type it")
	}
	if k := bench.Reference.Kind; (k == "" || k == "none") && b.Calibration == nil {
		add("the sound card's own response", "its edges are in every take", "Calibrate with a cable, or record a reference on the second channel")
	}
}

// replaceBench writes bench.toml, if it is still the one that was seen.
func (w *workshop) replaceBench(sha256Hex string, text []byte) error {
	if _, err := benchfile.Decode(text); err != nil {
		return fmt.Errorf("%s: %w", benchfile.FileName, err)
	}
	if err := atomicfile.Replace(w.benchFile(), sha256Hex, text); err != nil {
		return err
	}
	w.changed("bench")
	w.listen()
	return nil
}

func (w *workshop) putBench(r *http.Request) (any, error) {
	in, err := ask[struct {
		SHA256 string `json:"sha256"`
		Text   string `json:"text"`
	}](r)
	if err != nil {
		return nil, err
	}
	w.editing.Lock()
	defer w.editing.Unlock()
	if err := w.replaceBench(in.SHA256, []byte(in.Text)); err != nil {
		return nil, err
	}
	return w.getBench(r)
}

func (w *workshop) setBench(r *http.Request) (any, error) {
	in, err := ask[struct {
		SHA256  string            `json:"sha256"`
		Options map[string]string `json:"options"`
	}](r)
	if err != nil {
		return nil, err
	}
	options := workbench.NewBenchText()
	if err := options.Fill(in.Options); err != nil {
		return nil, err
	}
	w.editing.Lock()
	defer w.editing.Unlock()
	text, err := options.Change(w.benchFile(), slices.Collect(maps.Keys(in.Options)))
	if err != nil {
		return nil, err
	}
	if err := w.replaceBench(in.SHA256, text); err != nil {
		return nil, err
	}
	return w.getBench(r)
}

func (w *workshop) chooseKind(r *http.Request) (any, error) {
	in, err := ask[struct {
		Bench string `json:"bench"`
	}](r)
	if err != nil {
		return nil, err
	}
	if in.Bench != "soundcard" && in.Bench != "virtual" {
		return nil, &site.Error{Status: http.StatusUnprocessableEntity, Text: "want soundcard or virtual", Field: "bench"}
	}
	w.mu.Lock()
	w.kind = in.Bench
	w.mu.Unlock()
	w.listen()
	w.changed("bench")
	return w.getBench(r)
}

// getDevices lists the sound devices, or says why there are none.
func (w *workshop) getDevices(r *http.Request) (any, error) {
	devices, err := soundcard.Devices(r.Context())
	answer := map[string]any{"devices": workbench.DeviceRecords(devices)}
	if err != nil {
		answer["error"] = err.Error()
	}
	return answer, nil
}

// usualStimulus is what a take plays unless something else is asked for.
func (w *workshop) usualStimulus() (excite.Stimulus, error) {
	_, plan, err := w.usual()
	if err != nil {
		return excite.Stimulus{}, err
	}
	return plan.Take.Stimulus, nil
}
