package workbench

import (
	"errors"
	"strings"
	"testing"

	"coilsweep/capture/benchfile"
)

// allOptions are those of every job that a page can ask for.
func allOptions() map[string]Options {
	return map[string]Options{
		"measure": NewMeasurement("").Options, "import": NewImport("").Options, "check": NewCheck("").Options,
		"calibrate": NewCalibration("").Options, "fixture": NewFixture("").Options, "guitar": NewGuitar(true).Options,
		"comparison": NewComparison().Options, "batch": NewBatch().Options, "fit": NewFit(true).Options,
		"coil":  NewCoil().Options,
		"bench": NewBenchText().Options, "live": NewLive("").Options,
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

func TestFill(t *testing.T) {
	m := NewMeasurement("")
	if err := m.Fill(map[string]string{"take": "bare", "added-c": "470p 1%", "level": "", "rate": "48k"}); err != nil {
		t.Fatal(err)
	}
	if m.Take.Name != "bare" || m.Take.AddedC.SI != 470e-12 || m.Given("level") || !m.Given("rate") ||
		m.Stimulus.RateHz != 48000 {
		t.Errorf("%+v", m)
	}
	for _, tt := range []struct{ option, value, page, command string }{
		{"drive", "steam", "steam: want current or voltage", "--drive steam: want current or voltage"},
		{"repeats", "2.5", `"2.5": want a whole number`, `--repeats "2.5": want a whole number`},
		{"repeats", "99999999999999999999", `"99999999999999999999": want a whole number that is not so large`,
			`--repeats "99999999999999999999": want a whole number that is not so large`},
		{"level", "dB", `"dB": want a number, such as -12 or 0.5`, `--level "dB": want a number, such as -12 or 0.5`},
		{"rate", "0.5", `"0.5": want a whole number of Hz`, `--rate "0.5": want a whole number of Hz`},
		{"bench-file", "/etc/passwd", "there is no such setting here", "--bench-file: there is no such setting here"},
		{"colour", "red", "there is no such setting here", "--colour: there is no such setting here"},
	} {
		err := NewMeasurement("").Fill(map[string]string{tt.option: tt.value})
		var option *OptionError
		if !errors.As(err, &option) || option.Option != tt.option {
			t.Fatalf("%s %s: %v", tt.option, tt.value, err)
		}
		if got := option.Text(); got != tt.page {
			t.Errorf("%s %s: the page says %q, want %q", tt.option, tt.value, got, tt.page)
		}
		if got := option.Say(func(name string) string { return "--" + name }); got != tt.command {
			t.Errorf("%s %s: the command says %q, want %q", tt.option, tt.value, got, tt.command)
		}
	}
}

// What is said of several options calls them what its reader does.
func TestOptionsInTexts(t *testing.T) {
	m := NewMeasurement("")
	if err := m.Fill(map[string]string{"take": "bare", "exciter-l": "1m"}); err != nil {
		t.Fatal(err)
	}
	_, err := m.Take.take(m.Options, "")
	var option *OptionError
	if !errors.As(err, &option) {
		t.Fatal(err)
	}
	if got := option.Text(); strings.Contains(got, "--") || strings.ContainsAny(got, "{}[]") ||
		!strings.Contains(got, "resistance of the exciter circuit") {
		t.Errorf("the page says %q", got)
	}
	if got := option.Say(func(name string) string { return "--" + name }); !strings.HasPrefix(got,
		"--exciter-r and --exciter-l go with --drive") {
		t.Errorf("the command says %q", got)
	}
}

// Every key that an option names is one of bench.toml, and holds what the option does.
func TestBenchKeys(t *testing.T) {
	for job, options := range allOptions() {
		for _, o := range options {
			if o.Bench == nil {
				continue
			}
			text := map[string]string{"word": "none", "text": "a", "n": "3", "ohm": "10", "farad": "1n",
				"henry": "1m", "number": "0", "s": "0.1", "Hz": "48 kHz"}[o.Value.Type()]
			switch o.Name {
			case "drive":
				text = "voltage"
			case "audio":
				text = "flac"
			case "ripple", "ripple-take", "clock": // an ideal card does not exist
				text = "0.05"
			}
			if err := o.Value.Set(text); err != nil {
				t.Fatalf("%s %s: %v", job, o.Name, err)
			}
			want := o.Value.String()
			var b benchfile.Bench
			if o.takeFrom(b) {
				t.Errorf("%s %s: an empty bench states it", job, o.Name)
			}
			o.stateIn(&b)
			if !o.takeFrom(b) || o.Value.String() != want || len(b.Given()) == 0 {
				t.Errorf("%s %s: bench.toml holds %v, want %q", job, o.Name, b.Given(), want)
			}
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
