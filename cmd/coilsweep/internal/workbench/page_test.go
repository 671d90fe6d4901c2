package workbench_test

import (
	"strings"
	"testing"

	"coilsweep/cmd/coilsweep/internal/inguitar"
	"coilsweep/cmd/coilsweep/internal/onpaper"
	"coilsweep/cmd/coilsweep/internal/workbench"
)

// allOptions are those of every job that a page can ask for.
func allOptions() map[string]workbench.Options {
	return map[string]workbench.Options{
		"measure":    workbench.NewMeasurement("").Options,
		"import":     workbench.NewImport("").Options,
		"check":      workbench.NewCheck("").Options,
		"calibrate":  workbench.NewCalibration("").Options,
		"fixture":    workbench.NewFixture("").Options,
		"guitar":     inguitar.NewGuitar(true).Options,
		"figure":     onpaper.NewFigure("").Options,
		"comparison": workbench.NewComparison().Options,
		"batch":      workbench.NewBatch().Options,
		"fit":        workbench.NewFit(true).Options,
		"coil":       workbench.NewCoil().Options,
		"bench":      workbench.NewBenchText().Options,
		"live":       workbench.NewLive("").Options,
	}
}

// No option that names a file, or that belongs to the program that serves the
// page, is a page's to set.
func TestPagesSetNoFiles(t *testing.T) {
	for job, options := range allOptions() {
		for _, o := range options {
			help := strings.ToLower(o.Help)
			names := strings.Contains(help, "file") || strings.Contains(help, ".toml") ||
				strings.Contains(help, "folder of")
			if o.Page && names && !strings.Contains(o.Help, "take of the folder") &&
				!strings.Contains(o.Help, "of the folder)") && !strings.Contains(o.Help, "that of the folder") {
				t.Errorf("%s %s (%s) may be set by a page", job, o.Name, o.Help)
			}
			for _, never := range []string{"bench", "bench-file", "virtual-file", "verbose", "stimulus", "recording",
				"harness", "limits", "against"} {
				if o.Name == never && o.Page {
					t.Errorf("%s %s may be set by a page", job, o.Name)
				}
			}
		}
	}
}

// An option is named once a job, and has a help.
func TestOptionsAreNamedOnce(t *testing.T) {
	for job, options := range allOptions() {
		seen := map[string]bool{}
		for _, o := range options {
			if seen[o.Name] || o.Help == "" || o.Value == nil {
				t.Errorf("%s: %s is named twice, or has no help or value", job, o.Name)
			}
			seen[o.Name] = true
		}
	}
}

// Every field of the page that holds numbers takes a decimal comma for the point.
func TestDecimalComma(t *testing.T) {
	texts := map[string][]string{
		"number": {"-12.5", "0.5", "1.5"}, "percent": {"0.05%"}, "ohm": {"4.7k 0.5% really", "4.7k"},
		"farad": {"2.2n 0.5% really", "2.2n"}, "henry": {"2.4 5% really", "2.4"}, "Hz": {"1.5k", "44.1k"},
		"s": {"1.5", "0.35s"}, "m": {"1.5mm", "0.5"}, "V": {"1.5"}, "n": {"1.5"}, "text": {"-18.5"},
	}
	tried := 0
	for job, options := range allOptions() {
		for _, o := range options {
			kind := o.Value.Type()
			if !o.Page || kind == "word" || kind == "bool" || kind == "text" && o.Name != "levels" {
				continue
			}
			if len(texts[kind]) == 0 {
				t.Errorf("%s: %s holds %q, of which no text is known", job, o.Name, kind)
			}
			accepted := false
			for _, point := range texts[kind] {
				a, b := allOptions()[job], allOptions()[job]
				errA := a.Fill(map[string]string{o.Name: point})
				errB := b.Fill(map[string]string{o.Name: strings.ReplaceAll(point, ".", ",")})
				if (errA == nil) != (errB == nil) || a.Find(o.Name).Value.String() != b.Find(o.Name).Value.String() {
					t.Errorf("%s: %s %q: %q, %v; with a comma %q, %v", job, o.Name, point, a.Find(o.Name).Value, errA,
						b.Find(o.Name).Value, errB)
				}
				accepted = accepted || errB == nil
			}
			if !accepted && kind != "n" {
				t.Errorf("%s: none of %q is a value of %s", job, texts[kind], o.Name)
			}
			tried++
		}
	}
	if tried < 60 {
		t.Errorf("only %d fields were tried", tried)
	}
}
