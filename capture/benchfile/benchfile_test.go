package benchfile

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilsweep/capture/instrument"
	"coilsweep/excite/quantity"
)

func full(t testing.TB) Bench {
	t.Helper()
	level, ripple, ripples, clock := -14.5, 0.02, 0.0005, 2.5
	b := Bench{
		Schema: schema, Name: "invented", Operator: "A. Winder", Notes: "two lines\nof \"notes\"",
		Card: Card{Input: "line in", Output: "3", CoilChannel: 2, ReferenceChannel: 1, OutputChannel: 2,
			RateHz: 96000, LevelDBFS: &level, BufferS: 0.3,
			RippleDB: &ripple, RippleTakeDB: &ripples, ClockPPM: &clock,
			Instrument: instrument.Instrument{Name: "card", Serial: "1", CalibrationDue: "2027-03-01"}},
		Drive: Drive{Kind: "voltage", ExciterR: parsed(t, quantity.ParseResistance, "230 1%"),
			ExciterL: parsed(t, quantity.ParseInductance, "68u 10%"), Date: "2026-11-01"},
		Reference: Reference{Kind: "current", SenseR: parsed(t, quantity.ParseResistance, "10 0.1%"),
			Date: "2026-11-02", Instrument: instrument.Instrument{Serial: "2"}},
		Fixture: Fixture{Capacitance: parsed(t, quantity.ParseCapacitance, "65p 2% U95"),
			Resistance: parsed(t, quantity.ParseResistance, "1M 1%"), Date: "2026-11-03", How: "470k in series"},
		Calibration: Calibration{File: "card-96000.toml", SHA256: "00ff", Date: "2026-11-04"},
		Meter:       instrument.Instrument{Name: "multimeter", Certificate: "K-1"},
	}
	return b
}

func parsed[T any](t testing.TB, parse func(string) (T, error), text string) *T {
	t.Helper()
	v, err := parse(text)
	if err != nil {
		t.Fatal(err)
	}
	return &v
}

func TestEncodeIsReadBack(t *testing.T) {
	for name, want := range map[string]Bench{"full": full(t), "bare": {Schema: schema}} {
		text, err := Encode(want)
		if err != nil {
			t.Fatal(err)
		}
		got, err := Decode(text)
		if err != nil {
			t.Fatalf("%s: %v\n%s", name, err, text)
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s (-written +read):\n%s", name, diff)
		}
	}
}

// Every commented example is one that can be used.
func TestExamplesAreValid(t *testing.T) {
	text, err := Encode(Bench{})
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range strings.Split(string(text), "\n") {
		if example, ok := strings.CutPrefix(line, "# "); ok && strings.Contains(example, " = ") {
			text = []byte(strings.Replace(string(text), line, example, 1))
		}
	}
	if _, err := Decode(text); err != nil {
		t.Errorf("%v in\n%s", err, text)
	}
}

func TestDecodeRefuses(t *testing.T) {
	const head = "schema = \"coilsweep.bench/1\"\n"
	tests := []struct{ text, want string }{
		{"", `schema is ""`},
		{"schema = \"coilsweep.bench/9\"", "this program reads"},
		{head + "[meter]\nmodel = \"x\"", `there is no key "meter.model"`},
		{head + "[meter]\ncalibration_due = \"soon\"", `calibration_due is "soon"`},
		{head + "[card]\nrate = 48000", `there is no key "card.rate"`},
		{head + "[caard]\n", `there is no key "caard"`},
		{head + "[card]\nrate_hz = \"48k\"", "line 3"},
		{head + "[card]\nrate_hz = 12", "rate_hz is 12"},
		{head + "[card]\nlevel_dbfs = 3.0", "level_dbfs is 3"},
		{head + "[card]\nlevel_dbfs = nan", "level_dbfs is NaN"},
		{head + "[card]\ncoil_channel = -1", "channels count from 1"},
		{head + "[card]\ncoil_channel = 2\nreference_channel = 2", "both said to be on channel 2"},
		{head + "[card]\nbuffer_s = 9.0", "buffer_s"},
		{head + "[card]\nripple_db = 0", "ripple_db is 0: want 0.0001 to 3 dB"},
		{head + "[card]\nripple_db = 3.5", "ripple_db is 3.5"},
		{head + "[card]\nripple_take_db = nan", "ripple_take_db is NaN: want 1e-05 to 1 dB"},
		{head + "[card]\nripple_take_db = -0.001", "ripple_take_db is -0.001"},
		{head + "[card]\nclock_ppm = 1001", "clock_ppm is 1001: want 0.001 to 1000 ppm"},
		{head + "[card]\nclock_ppm = \"50 ppm\"", "line 3"},
		{head + "[card]\nripple = 0.01", `there is no key "card.ripple"`},
		{head + "[drive]\nkind = \"steam\"", `want "current" or "voltage"`},
		{head + "[drive]\nkind = \"voltage\"", "needs exciter_r"},
		{head + "[drive]\nexciter_r = \"230\"", "go with a kind"},
		{head + "[drive]\nkind = \"current\"\nexciter_l = \"1m\"", "needs exciter_r"},
		{head + "[drive]\nkind = \"voltage\"\nexciter_r = \"-3\"", "line 4"},
		{head + "[reference]\nkind = \"ground\"", "kind is"},
		{head + "[reference]\nsense_r = \"10\"", "sense_r belongs"},
		{head + "[fixture]\ndate = \"yesterday\"", "want a day"},
		{head + "[fixture]\ncapacitance = \"65 ohm\"", "line 3"},
		{head + "[fixture]\ncapacitance = \"65p 5% PP\"", "a dielectric is understood of an added capacitor"},
		{head + "[calibration]\nfile = \"card.toml\"", "go together"},
		{head + "[calibration]\nfile = \"../card.toml\"\nsha256 = \"0\"", "beside bench.toml"},
	}
	for _, tt := range tests {
		if _, err := Decode([]byte(tt.text)); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%q: %v, want %q", tt.text, err, tt.want)
		}
	}
}

func TestFind(t *testing.T) {
	root := t.TempDir()
	coil := filepath.Join(root, "bridge")
	if err := os.Mkdir(coil, 0o777); err != nil {
		t.Fatal(err)
	}
	if _, err := Find(coil); !errors.Is(err, ErrNone) {
		t.Errorf("without a bench: %v", err)
	}
	above, beside := filepath.Join(root, FileName), filepath.Join(coil, FileName)
	if err := Create(above, Bench{Name: "above"}); err != nil {
		t.Fatal(err)
	}
	deep := filepath.Join(coil, "a", "b", "c")
	if err := os.MkdirAll(deep, 0o777); err != nil {
		t.Fatal(err)
	}
	t.Chdir(coil)
	for _, dir := range []string{coil, deep, ".", "a", "a/b/c", "a/none"} {
		if found, err := Find(dir); err != nil || found.Name != "above" || len(found.SHA256) != 64 {
			t.Errorf("%s: found %+v, %v", dir, found, err)
		}
	}
	if err := Create(beside, Bench{Name: "beside"}); err != nil {
		t.Fatal(err)
	}
	if found, err := Find(coil); err != nil || found.Name != "beside" {
		t.Errorf("found %+v, %v", found, err)
	}
	if err := Create(beside, Bench{}); err == nil {
		t.Error("a bench was replaced")
	}
	// A damaged one is not passed over.
	if err := os.WriteFile(beside, []byte("name = 3"), 0o666); err != nil {
		t.Fatal(err)
	}
	if _, err := Find(coil); err == nil || !strings.Contains(err.Error(), beside) {
		t.Errorf("damaged bench: %v", err)
	}
}

func TestSetLeavesTheRest(t *testing.T) {
	const text = `# mine
schema = "coilsweep.bench/1"
[fixture] # measured in spring
capacitance = "60p"
series_resistance = "0"
# old

# my drive
[drive]
kind = "current" # nearly
`
	path := filepath.Join(t.TempDir(), FileName)
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	fixture := full(t).Fixture
	if err := SetFixture(path, fixture); err != nil {
		t.Fatal(err)
	}
	if err := SetCalibration(path, full(t).Calibration); err != nil {
		t.Fatal(err)
	}
	found, err := Read(path)
	if err != nil {
		t.Fatal(err)
	}
	none := found.Fixture.SeriesResistance // which no measurement of the fixture tells
	found.Fixture.SeriesResistance = nil
	if diff := cmp.Diff(fixture, found.Fixture); diff != "" || none == nil || none.SI != 0 {
		t.Error(diff, none)
	}
	if found.Calibration != full(t).Calibration || found.Drive.Kind != "current" {
		t.Errorf("read %+v", found.Bench)
	}
	changed, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, kept := range []string{"# mine\n", "# my drive\n[drive]\nkind = \"current\" # nearly\n"} {
		if !strings.Contains(string(changed), kept) {
			t.Errorf("%q was lost:\n%s", kept, changed)
		}
	}
	if strings.Contains(string(changed), "60p") {
		t.Errorf("the old fixture stayed:\n%s", changed)
	}
}

func FuzzDecode(f *testing.F) {
	text, err := Encode(full(f))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(text)
	f.Add([]byte("schema = \"coilsweep.bench/1\"\n[fixture]\ncapacitance = 65e-12\n"))
	f.Add([]byte("schema = \"coilsweep.bench/1\"\n[card]\nlevel_dbfs = inf\n"))
	f.Add([]byte("schema = \"coilsweep.bench/1\"\n[card]\nripple_db = 1e-3\nripple_take_db = 1\nclock_ppm = 1e3\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		b, err := Decode(text)
		if err != nil {
			return
		}
		again, err := Encode(b)
		if err != nil {
			t.Fatalf("cannot be written: %v", err)
		}
		if _, err := Decode(again); err != nil {
			t.Fatalf("cannot be read back: %v\n%s", err, again)
		}
	})
}
