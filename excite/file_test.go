package excite

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"
)

func TestEncodeDecode(t *testing.T) {
	for _, change := range []func(*Request){
		nil,
		func(r *Request) { r.Repeats = 1 },
		func(r *Request) { r.RateHz, r.LevelDBFS, r.FromHz = 44100, -6.02, 31.7 },
		func(r *Request) { r.Shape = invented() },
	} {
		s := mustDesign(t, change)
		text, err := s.Encode()
		if err != nil {
			t.Fatal(err)
		}
		back, err := Decode(text)
		if err != nil || !reflect.DeepEqual(back, s) {
			t.Errorf("%s\ngives %+v, %v", text, back, err)
		}
	}
}

// edited is a description with one line changed.
func edited(t *testing.T, text []byte, key, value string) []byte {
	t.Helper()
	lines := strings.Split(string(text), "\n")
	for i, l := range lines {
		if strings.HasPrefix(l, key+" ") {
			lines[i] = key + " = " + value
			return []byte(strings.Join(lines, "\n"))
		}
	}
	t.Fatalf("no key %q in\n%s", key, text)
	return nil
}

func encoded(t *testing.T) []byte {
	t.Helper()
	text, err := mustDesign(t, nil).Encode()
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func TestDecodeRefuses(t *testing.T) {
	text := encoded(t)
	for _, c := range []struct{ key, value, why string }{
		{"schema", `"something/1"`, "schema"},
		{"rate_hz", "8000", "sample rate"},
		{"rate_hz", "1000000000", "sample rate"},
		{"rate_hz", "-48000", "sample rate"},
		{"rate_hz", "48000.5", ""},
		{"rate_hz", "50000", "sweep_samples"},
		{"from_hz", "0.0", "lower end"},
		{"from_hz", "nan", "lower end"},
		{"from_hz", "-20.0", "lower end"},
		{"from_hz", "21.0", "sweep_samples"},
		{"to_hz", "inf", "upper end"},
		{"to_hz", "23000.0", "upper end"},
		{"to_hz", "30.0", "upper end"},
		{"sweep_samples", "5", ""},
		{"sweep_samples", "-5", "sweep_samples"},
		{"period_samples", "150001", "cannot be analysed"},
		{"period_samples", "100000", "period_samples"},
		{"period_samples", "1000000000000", "period_samples"},
		{"lead_in_samples", "1000", "lead_in_samples"},
		{"lead_in_samples", "9000000000", "lead_in_samples"},
		{"tail_samples", "-1", "tail_samples"},
		{"fade_in_samples", "100000", "fade_in_samples"},
		{"fade_out_samples", "-1", "fade_out_samples"},
		{"cycles", "0", "cycles"},
		{"cycles", "9", "sweep_samples"},
		{"repeats", "0", "repeats"},
		{"repeats", "900", "samples long"},
		{"repeats", "2000000000", "repeats"},
		{"level_dbfs", "1.0", "level"},
		{"level_dbfs", "nan", "level"},
		{"level_dbfs", `"loud"`, ""},
		{"sha256", `7`, ""},
	} {
		s, err := Decode(edited(t, text, c.key, c.value))
		var fe *FileError
		if err == nil || !errors.As(err, &fe) || !strings.Contains(err.Error(), c.why) || errors.Is(err, ErrChecksum) {
			t.Errorf("%s = %s: %v", c.key, c.value, err)
		}
		if !reflect.DeepEqual(s, Stimulus{}) {
			t.Errorf("%s = %s: a stimulus beside the error", c.key, c.value)
		}
	}
	for _, c := range []struct{ key, value string }{
		{"sha256", `"0000"`}, {"level_dbfs", "-11.0"}, {"tail_samples", "20000"}, {"fade_in_samples", "0"},
		{"repeats", "3"},
	} {
		if _, err := Decode(edited(t, text, c.key, c.value)); !errors.Is(err, ErrChecksum) {
			t.Errorf("%s = %s: %v, want ErrChecksum", c.key, c.value, err)
		}
	}
}

func TestDecodeTellsThePlace(t *testing.T) {
	good := string(encoded(t))
	for _, c := range []struct {
		text string
		line int
	}{
		{"schema = \"coilsweep.stimulus/1\"\nrate_hz = \n", 2},
		{"schema = \"coilsweep.stimulus/1\"\n\n  repeat = 4\n", 3},
		{"\n[sweep]\nfrom = 20\n", 2},
		{strings.Replace(good, "repeats = 4", "repeats = 4\nvolume = 11", 1), 1 +
			strings.Count(good[:strings.Index(good, "repeats")], "\n") + 1},
		{"repeats = 1\nrepeats = 2\n", 2},
	} {
		_, err := Decode([]byte(c.text))
		var fe *FileError
		if !errors.As(err, &fe) || fe.Line != c.line || !strings.Contains(err.Error(), fmt.Sprintf("line %d", c.line)) {
			t.Errorf("%q: %v, want line %d", c.text, err, c.line)
		}
	}
	if _, err := Decode(make([]byte, maxFile+1)); err == nil {
		t.Error("a huge description was read")
	}
}

func TestDesignRefuses(t *testing.T) {
	for _, c := range []struct {
		change func(*Request)
		why    string
	}{
		{func(r *Request) { r.RateHz = 22050 }, "sample rate is 22050 Hz; it must be from 44100 to 192000 Hz"},
		{func(r *Request) { r.ToHz = 22000 }, "upper end of the sweep (at a rate of 48000 Hz) is 22000 Hz"},
		{func(r *Request) { r.ToHz = 25 }, "upper end"},
		{func(r *Request) { r.FromHz = 0 }, "lower end"},
		{func(r *Request) { r.FromHz = math.NaN() }, "lower end"},
		{func(r *Request) { r.Repeats = 0 }, "repeats"},
		{func(r *Request) { r.Repeats = -4 }, "repeats"},
		{func(r *Request) { r.Repeats = 1000 }, "too long for one stimulus"},
		{func(r *Request) { r.LevelDBFS = 3 }, "level is 3 dBFS"},
		{func(r *Request) { r.SweepS = 0 }, "length of a sweep"},
		{func(r *Request) { r.SweepS = 1e9 }, "length of a sweep"},
		{func(r *Request) { r.SweepS = math.Inf(1) }, "length of a sweep"},
		{func(r *Request) { r.SweepS = 0.1 }, "at least 0.345 s"},
		{func(r *Request) { r.LeadInS = 0.1 }, "silence before"},
		{func(r *Request) { r.GapS = 0 }, "gap"},
		{func(r *Request) { r.TailS = -1 }, "at the end"},
	} {
		r := DefaultRequest()
		c.change(&r)
		s, err := Design(r)
		if err == nil || !strings.Contains(err.Error(), c.why) || !reflect.DeepEqual(s, Stimulus{}) {
			t.Errorf("want %q: %v", c.why, err)
		}
	}
	// 20 kHz must pass at 44.1 kHz.
	mustDesign(t, func(r *Request) { r.RateHz = 44100 })
}

func FuzzDecode(f *testing.F) {
	s := mustDesign(f, func(r *Request) { r.FromHz, r.SweepS, r.Repeats = 1000, 0.1, 1 })
	text, err := s.Encode()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(text)
	if text, err = shapedStimulus(f, 48000).Encode(); err != nil {
		f.Fatal(err)
	}
	f.Add(text)
	f.Add([]byte("schema = \"coilsweep.stimulus/1\"\nrate_hz = 48000\nfrom_hz = 1e-300\n"))
	f.Add([]byte("repeats = 99999999999999999999"))
	f.Add([]byte("[a.b]\nc = [1, {d = 2}]"))
	f.Fuzz(func(t *testing.T, text []byte) {
		s, err := Decode(text)
		if err != nil {
			return
		}
		if n := len(s.Samples()); n != s.TotalSamples() || n > maxSamples {
			t.Fatalf("%d samples", n)
		}
		again, err := s.Encode()
		if err != nil {
			t.Fatal(err)
		}
		if back, err := Decode(again); err != nil || !reflect.DeepEqual(back, s) {
			t.Fatalf("%+v, %v", back, err)
		}
	})
}
