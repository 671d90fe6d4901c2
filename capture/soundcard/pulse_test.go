//go:build cgo && linux

package soundcard

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"coilsweep/capture"
	"coilsweep/capture/record"
	"coilsweep/capture/soundcard/pulserig"
)

// coilA1 with addedA1 across it is the circuit a1 of testdata/spice.
var coilA1 = pulserig.Coil{InductanceH: 2.2, ResistanceOhm: 6000, CapacitanceF: 250e-12, LoadOhm: 1e6}

const addedA1 = 220e-12

const rate = pulserig.RateHz

// TestMain runs the test again as another process's child where
// childVariable names what it shall do.
func TestMain(m *testing.M) {
	if task := os.Getenv(childVariable); task != "" {
		os.Exit(child(task))
	}
	os.Exit(m.Run())
}

func TestThroughPulse(t *testing.T) {
	rig := pulserig.Start(t, coilA1)
	rig.Setenv(t)
	for _, c := range []struct {
		name string
		test func(*testing.T, *pulserig.Rig)
	}{
		{"devices", testDevices},
		{"refusals", testRefusals},
		{"describe", testDescribe},
		{"channels", testChannels},
		{"response", testResponse},
		{"duplex", testDuplex},
		{"kept running", testKeptRunning},
		{"cancel", testCancel},
		{"sink", testSinkFails},
		{"quiet", testQuiet},
	} {
		t.Run(c.name, func(t *testing.T) { c.test(t, rig) })
	}
	if library.users != 0 {
		t.Errorf("PortAudio has %d users left", library.users)
	}
}

func testDevices(t *testing.T, _ *pulserig.Rig) {
	devices, err := Devices(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	byName := map[string]Device{}
	for i, d := range devices {
		if d.Number != i {
			t.Errorf("device %d has number %d", i, d.Number)
		}
		byName[d.Name] = d
	}
	out, in, def := byName[pulserig.Output], byName[pulserig.Input], byName["default"]
	if out.OutputChannels < 2 || out.InputChannels != 0 || in.InputChannels < 2 || in.OutputChannels != 0 {
		t.Errorf("channels: output device %+v, input device %+v", out, in)
	}
	if !def.DefaultInput || !def.DefaultOutput || out.DefaultOutput {
		t.Errorf("defaults: %+v, %+v", def, out)
	}
	for _, d := range []Device{out, in, byName[pulserig.Bench]} {
		if d.HostAPI != "ALSA" || !d.MayResample || d.Trouble != "" || !slices.Equal(d.RatesHz, UsualRatesHz) {
			t.Errorf("%+v", d)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Devices(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

func testRefusals(t *testing.T, _ *pulserig.Rig) {
	for _, c := range []struct {
		options Options
		says    []string
	}{
		{Options{Input: "turntable"}, []string{"no sound device with input channels", pulserig.Input}},
		{Options{Output: pulserig.Input}, []string{"no sound device with output channels", pulserig.Output}},
		{Options{Input: "coilsweep"}, []string{"part of the name of 2", pulserig.Input, pulserig.Bench}},
		{Options{Input: "99"}, []string{"no sound device number 99"}},
		{Options{CoilChannel: 1000}, []string{"default", "no channel 1000"}},
		// PulseAudio's limit is 384 kHz (PA_RATE_MAX in its sample.h).
		{Options{Input: pulserig.Input, RateHz: 500000},
			[]string{pulserig.Input, "does not take 500000 Hz as input",
				"44100, 48000, 88200, 96000, 176400, 192000 Hz"}},
		{Options{BufferS: 5}, []string{"buffer"}},
	} {
		card, err := Open(c.options)
		if err == nil {
			card.Close()
		}
		mustSay(t, err, c.says...)
	}
}

func testDescribe(t *testing.T, _ *pulserig.Rig) {
	card := open(t, Options{Input: "sweep_IN", Output: "sweep_OUT", ReferenceChannel: 2, BufferS: 0.25})
	want := capture.Bench{Source: "soundcard", InputDevice: pulserig.Input, OutputDevice: pulserig.Output,
		HostAPI: "ALSA",
		BufferS: 0.25, CoilChannel: 1, ReferenceChannel: 2}
	got := card.Describe()
	if len(got.Notes) != 2 || !strings.Contains(got.Notes[0], "resampled") {
		t.Errorf("notes %q: want a word on resampling for each device", got.Notes)
	}
	got.Notes = nil
	if fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("got %+v\nwant %+v", got, want)
	}
	if f := card.Format(); f != (record.Format{RateHz: rate, Channels: 2}) {
		t.Errorf("format %+v", f)
	}
	one := open(t, Options{Input: pulserig.Bench, Output: pulserig.Bench})
	if d := one.Describe(); d.TwoClocks || len(d.Notes) != 1 || d.BufferS != serverBufferS {
		t.Errorf("one device: %+v", d)
	}
	if f := one.Format(); f.Channels != 1 {
		t.Errorf("format without reference %+v", f)
	}
}

// testChannels plays noise and finds it in the reference, sample for sample:
// nothing lost, doubled, scaled or resampled, and nothing of the other channel.
func testChannels(t *testing.T, _ *pulserig.Rig) {
	card := open(t, Options{Input: pulserig.Bench, Output: pulserig.Bench, CoilChannel: 2, ReferenceChannel: 1})
	if !card.twoSides {
		t.Error("PulseAudio's plug-in is trusted with a duplex stream")
	}
	holdsBurst(t, card)
}

// testDuplex makes one stream for both directions, as for hardware.
func testDuplex(t *testing.T, _ *pulserig.Rig) {
	card := open(t, Options{Input: pulserig.Bench, Output: pulserig.Bench, CoilChannel: 2, ReferenceChannel: 1})
	card.twoSides = false
	holdsBurst(t, card)
}

// testKeptRunning records again and again without stopping the device, but
// stops it where it would go on playing.
func testKeptRunning(t *testing.T, _ *pulserig.Rig) {
	card := open(t, Options{Input: pulserig.Bench, Output: pulserig.Bench, CoilChannel: 2, ReferenceChannel: 1,
		KeepRunning: true})
	enough := errors.New("enough")
	until := func(play []float32, frames int) error {
		got := 0
		_, err := card.Record(context.Background(), play, 10*rate, func(block []float32) error {
			if got += len(block) / 2; got >= frames {
				return enough
			}
			return nil
		})
		return err
	}
	if err := until(nil, rate/10); err != enough || card.kept == nil {
		t.Fatalf("after listening: %v, kept %v", err, card.kept)
	}
	first := card.kept
	holdsBurst(t, card)
	if card.kept != first {
		t.Error("the device was started anew to play")
	}
	if err := until(burst(0, 9), rate); err != enough || card.kept != nil {
		t.Errorf("in the middle of playing: %v, kept %v", err, card.kept)
	}
	got := recorded(t, card, nil, rate*3/2)[0]
	if at := onset(got[2*rate:]); at >= 0 {
		t.Error("sound goes on after Record returned")
	}
	if err := card.Close(); err != nil || card.kept != nil {
		t.Errorf("Close: %v, kept %v", err, card.kept)
	}
}

// holdsBurst plays noise and wants it back unchanged, from the first channel
// recorded. On a busy machine the sound may tear, or PortAudio give a duplex
// stream up (see choosePair): that is the machine's fault, and one of a few
// tries succeeds. A fault of ours would show in all of them.
func holdsBurst(t *testing.T, card *Card) {
	t.Helper()
	const frames = 2 * rate
	play := burst(0.1, 0.5)
	for try := 1; ; try++ {
		got, err := tryRecord(card, play, frames)
		if err == nil {
			if len(got[0]) < frames || len(got[1]) != len(got[0]) {
				t.Fatalf("%d and %d frames, want at least %d", len(got[0]), len(got[1]), frames)
			}
			if onset(got[1]) < 0 {
				t.Error("nothing on the other channel")
			}
			err = holds(got[0], play)
		}
		if err == nil {
			return
		}
		t.Logf("try %d: %v", try, err)
		if try == 4 {
			t.Fatal("no try succeeded")
		}
	}
}

// testResponse compares what coil and exciter current do at three frequencies
// with ngspice-39's answer for circuit a1 (testdata/spice/response.csv).
func testResponse(t *testing.T, rig *pulserig.Rig) {
	spice := []struct{ freqHz, dB, degree float64 }{
		{1000, 0.303204, -1.87173},
		{4000, 8.525261, -19.67423},
		{5000, 16.006284, -95.25928},
	}
	rig.SetAddedCapacitance(addedA1)
	defer rig.SetAddedCapacitance(0)
	card := open(t, Options{Input: pulserig.Input, Output: pulserig.Output, ReferenceChannel: 2})
	play := make([]float32, rate*6/10)
	for n := range play {
		for _, s := range spice {
			play[n] += 0.1 * float32(math.Cos(2*math.Pi*s.freqHz*float64(n)/rate))
		}
	}
	got := recorded(t, card, play, rate*3/2)
	// Whole cycles, begun when the transient (3.6 ms, 2L/R) is over.
	begin := onset(got[1]) + rate/10
	coil, current := got[0][begin:begin+rate*4/10], got[1][begin:begin+rate*4/10]
	var first complex128
	for _, s := range spice {
		// The EMF is proportional to the frequency times the current.
		ratio := dft(coil, s.freqHz) / dft(current, s.freqHz) / complex(0, s.freqHz)
		if first == 0 {
			first = ratio / cmplx.Rect(math.Pow(10, s.dB/20), s.degree*math.Pi/180)
		}
		ratio /= first
		dB, degree := 20*math.Log10(cmplx.Abs(ratio)), cmplx.Phase(ratio)*180/math.Pi
		if math.Abs(dB-s.dB) > 0.02 || math.Abs(degree-s.degree) > 0.1 {
			t.Errorf("%g Hz: %.3f dB %.2f°, ngspice has %.3f dB %.2f°", s.freqHz, dB, degree, s.dB, s.degree)
		}
	}
}

func testCancel(t *testing.T, _ *pulserig.Rig) {
	card := open(t, Options{Input: pulserig.Bench, Output: pulserig.Bench, CoilChannel: 2})
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	var asked time.Time
	frames := 0
	_, err := card.Record(ctx, burst(0, 10), 10*rate, func(block []float32) error {
		frames += len(block)
		if frames >= rate/2 && asked.IsZero() {
			asked = time.Now()
			cancel()
		}
		return nil
	})
	if took := time.Since(asked); err != context.Canceled || took > time.Second {
		t.Errorf("returned %v after cancel: %v", took, err)
	}
	if frames < rate/2 {
		t.Errorf("%d frames delivered", frames)
	}
	// Nothing plays on: what is in the rig's own buffers has run out after 2 s.
	got := recorded(t, card, nil, rate*3/2)[0]
	if at := onset(got[2*rate:]); at >= 0 {
		t.Errorf("sound goes on after Record returned")
	}
	if _, err := card.Record(ctx, nil, rate,
		func([]float32) error { t.Error("delivered"); return nil }); err != context.Canceled {
		t.Errorf("Record with an ended context: %v", err)
	}
}

func testSinkFails(t *testing.T, _ *pulserig.Rig) {
	card := open(t, Options{})
	full := errors.New("disk full")
	calls := 0
	_, err := card.Record(context.Background(), nil, 10*rate, func([]float32) error {
		calls++
		if calls == 3 {
			return full
		}
		return nil
	})
	if err != full || calls != 3 {
		t.Errorf("sink was called %d times, error %v", calls, err)
	}
	card.Close()
	if _, err := card.Record(context.Background(), nil, rate, func([]float32) error { return nil }); err == nil {
		t.Error("a closed card records")
	}
}

func TestServerKilledInMidTake(t *testing.T) {
	brokenOff(t, (*pulserig.Rig).Kill)
}

// The device is there but stands still, and so does every call that would
// stop it.
func TestServerFrozenInMidTake(t *testing.T) {
	brokenOff(t, (*pulserig.Rig).Freeze)
}

// brokenOff breaks the rig in a recording, which must end with an error within
// 3 s and deliver all frames until then.
func brokenOff(t *testing.T, breakOff func(*pulserig.Rig)) {
	rig := pulserig.Start(t, coilA1)
	rig.Setenv(t)
	card, err := Open(Options{Input: pulserig.Input, Output: pulserig.Output})
	if err != nil {
		t.Fatal(err)
	}
	const before = rate / 2
	broken := make(chan time.Time, 1)
	frames := 0
	_, err = card.Record(context.Background(), burst(0, 10), 10*rate, func(block []float32) error {
		if frames += len(block); frames >= before && cap(broken) > len(broken) {
			broken <- time.Now()
			breakOff(rig)
		}
		return nil
	})
	took := time.Since(<-broken)
	mustSay(t, err, pulserig.Input, pulserig.Output, "stopped delivering")
	if took > 3*time.Second {
		t.Errorf("the error came after %v", took)
	}
	if frames < before || frames > 2*rate {
		t.Errorf("%d frames kept, broken off after %d", frames, before)
	}
	begin := time.Now()
	closing := card.Close()
	if took := time.Since(begin); took > time.Second {
		t.Errorf("Close took %v", took)
	}
	// With the rig gone, what hangs comes free, and gives all back.
	rig.Close()
	if closing != nil {
		t.Logf("Close: %v", closing)
	}
	for begin := time.Now(); ; time.Sleep(10 * time.Millisecond) {
		library.turn.Lock()
		users := library.users
		library.turn.Unlock()
		if users == 0 {
			break
		}
		if time.Since(begin) > 5*time.Second {
			t.Fatalf("PortAudio has %d users left", users)
		}
	}
}

// childVariable tells the test, run again, to do one of the tasks of child.
const childVariable = "SOUNDCARD_TEST_CHILD"

const ownMessage = "a message of the program itself"

// child is a program that uses the sound card.
func child(task string) int {
	switch task {
	case "devices":
		if _, err := Devices(context.Background()); err != nil {
			fmt.Println(err)
			return 1
		}
		return 0
	case "record", "record verbosely":
		card, err := Open(Options{Input: "pulse", Output: "pulse", BufferS: 0.1, Verbose: task == "record verbosely"})
		if err == nil {
			_, err = card.Record(context.Background(), nil, rate/10, func([]float32) error { return nil })
			fmt.Fprintln(os.Stderr, ownMessage)
		}
		if err == nil {
			err = card.Close()
		}
		if err != nil {
			fmt.Println(err)
			return 1
		}
		return 0
	}
	return 2
}

// runChild runs child with variables set on top of the environment.
func runChild(t *testing.T, task string, variables ...string) (stdout, stderr string, err error) {
	t.Helper()
	program, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(program)
	cmd.Env = append(append(os.Environ(), childVariable+"="+task), variables...)
	var out, errs bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errs
	err = cmd.Run()
	return out.String(), errs.String(), err
}

// testQuiet uses the system's own ALSA configuration, which without a sound
// card makes the libraries complain for pages.
func testQuiet(t *testing.T, _ *pulserig.Rig) {
	const system = "ALSA_CONFIG_PATH=/usr/share/alsa/alsa.conf"
	stdout, stderr, err := runChild(t, "record", system)
	if err != nil {
		t.Fatalf("%v: %s", err, stdout)
	}
	if strings.TrimSpace(stderr) != ownMessage {
		t.Errorf("on the terminal: %s", stderr)
	}
	stdout, stderr, err = runChild(t, "record verbosely", system)
	if err != nil {
		t.Fatalf("%v: %s", err, stdout)
	}
	if !strings.Contains(stderr, "ALSA lib") || !strings.Contains(stderr, ownMessage) {
		t.Errorf("verbose: the libraries' text is missing: %s", stderr)
	}
}

// Without any device the list says why; the libraries' complaints stay away
// from the terminal, and a configuration at which PortAudio would abort the
// process is refused.
func TestNoDevices(t *testing.T) {
	dir := t.TempDir()
	empty := filepath.Join(dir, "asound.conf")
	if err := os.WriteFile(empty, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	nowhere := []string{"HOME=" + dir, "XDG_RUNTIME_DIR=" + dir, "PULSE_SERVER=unix:" + dir + "/none",
		"JACK_NO_START_SERVER=1"}
	for _, c := range []struct{ name, config, says string }{
		{"server gone", "/usr/share/alsa/alsa.conf", "no sound device found"},
		{"no configuration", filepath.Join(dir, "missing"), "ALSA's configuration is missing or has no default device"},
		{"empty configuration", empty, "ALSA's configuration is missing or has no default device"},
	} {
		if c.name == "server gone" && hasCard() {
			t.Log("this machine has a sound card: cannot see what happens without")
			continue
		}
		for _, task := range []string{"devices", "record"} {
			stdout, stderr, err := runChild(t, task, append(nowhere, "ALSA_CONFIG_PATH="+c.config)...)
			var exit *exec.ExitError
			if !errors.As(err, &exit) || exit.ExitCode() != 1 || stderr != "" || !strings.Contains(stdout, c.says) {
				t.Errorf("%s, %s: %v\nstdout: %s\nstderr: %s", c.name, task, err, stdout, stderr)
			}
		}
	}
}

func hasCard() bool {
	pcms, _ := filepath.Glob("/dev/snd/pcm*")
	return len(pcms) > 0
}

func TestLastLines(t *testing.T) {
	got := lastLines("one\ntwo\n\nthree\ntwo\nthree\n  four \n", 3)
	if want := []string{"two", "three", "four"}; !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}

// open opens a card for the rest of the test.
func open(t *testing.T, o Options) *Card {
	t.Helper()
	card, err := Open(o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := card.Close(); err != nil {
			t.Error(err)
		}
	})
	return card
}

// record returns the recorded channels.
func recorded(t *testing.T, card *Card, play []float32, frames int) [][]float64 {
	t.Helper()
	got, err := tryRecord(card, play, frames)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func tryRecord(card *Card, play []float32, frames int) ([][]float64, error) {
	got := make([][]float64, card.Format().Channels)
	session, err := card.Record(context.Background(), play, frames, func(block []float32) error {
		for i, x := range block {
			got[i%len(got)] = append(got[i%len(got)], float64(x))
		}
		return nil
	})
	if err == nil && len(session.Xruns) > 0 {
		err = fmt.Errorf("the machine is too busy for this test: %v", session.Xruns)
	}
	return got, err
}

// burst is noise after silence; the noise begins with a loud sample.
func burst(silenceS, noiseS float64) []float32 {
	play := make([]float32, int((silenceS+noiseS)*rate))
	dice := rand.New(rand.NewPCG(3, 4))
	noise := play[int(silenceS*rate):]
	for n := range noise {
		noise[n] = 0.4 * float32(2*dice.Float64()-1)
	}
	noise[0] = 0.4
	return play
}

// onset is where the first sound is, or -1.
func onset(x []float64) int {
	return slices.IndexFunc(x, func(v float64) bool { return math.Abs(v) > 1e-3 })
}

// holds finds played in recorded, later but otherwise the same within the
// rig's noise.
func holds(recorded []float64, played []float32) error {
	first := slices.IndexFunc(played, func(v float32) bool { return v != 0 })
	delay := onset(recorded) - first
	if onset(recorded) < 0 || delay < 0 || delay+len(played) > len(recorded) {
		return fmt.Errorf("the sound played is not in the %d frames recorded (delay %d)", len(recorded), delay)
	}
	for n, x := range played {
		if diff := recorded[delay+n] - float64(x); math.Abs(diff) > 3e-5 {
			return fmt.Errorf("sample %d of %d played differs by %g, at a delay of %d", n, len(played), diff, delay)
		}
	}
	return nil
}

// dft is the component of x, whole cycles, at a frequency.
func dft(x []float64, freqHz float64) (sum complex128) {
	for n, v := range x {
		sum += complex(v, 0) * cmplx.Exp(complex(0, -2*math.Pi*freqHz*float64(n)/rate))
	}
	return sum
}
