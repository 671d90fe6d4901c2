package workbench

import (
	"errors"
	"strings"
	"testing"

	"coilsweep/capture/benchfile"
)

// benchOptions are those of the jobs that bench.toml states something for.
func benchOptions() map[string]Options {
	return map[string]Options{
		"measure": NewMeasurement("").Options, "import": NewImport("").Options, "check": NewCheck("").Options,
		"calibrate": NewCalibration("").Options, "fixture": NewFixture("").Options,
		"comparison": NewComparison().Options, "batch": NewBatch().Options, "fit": NewFit(true).Options,
		"coil":  NewCoil().Options,
		"bench": NewBenchText().Options, "live": NewLive("").Options,
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
	for job, options := range benchOptions() {
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
