package virtual

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"math"
	"os"
	"runtime"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"coilsweep/capture"
	"coilsweep/capture/record"
	"coilsweep/excite"
)

// stimulus is the default one with another number of repeats.
func stimulus(t testing.TB, repeats int) ([]float32, excite.Stimulus) {
	t.Helper()
	request := excite.DefaultRequest()
	request.Repeats = repeats
	s, err := excite.Design(request)
	if err != nil {
		t.Fatal(err)
	}
	samples := s.Samples()
	play := make([]float32, len(samples))
	for i, v := range samples {
		play[i] = float32(v)
	}
	return play, s
}

// TestRunsRepeatBitForBit compares the default bench with a checksum that is
// kept, and checks what else must or must not change the noise.
func TestRunsRepeatBitForBit(t *testing.T) {
	play := tone(48000, 1, 700, 0.2)
	load := capture.Load{AddedC: capacitor(t, "470p 1%")}
	first := recorded(t, Default(), load, 48000, 42, play, 48000)
	again := recorded(t, Default(), load, 48000, 42, play, 48000)
	for ch := range first {
		if !slices.Equal(first[ch], again[ch]) {
			t.Fatalf("channel %d of two equal runs differs", ch)
		}
	}
	r, err := Default().Recorder(load, 48000, 42)
	if err != nil {
		t.Fatal(err)
	}
	recordWith(t, r, play, 100)
	for what, other := range map[string][][]float64{
		"another seed":             recorded(t, Default(), load, 48000, 43, play, 48000),
		"another load":             recorded(t, Default(), capture.Load{}, 48000, 42, play, 48000),
		"a second run of Recorder": recordWith(t, r, play, 48000),
	} {
		if slices.Equal(first[1], other[1]) {
			t.Errorf("%s draws the same noise", what)
		}
	}

	hash := sha256.New()
	for _, x := range first {
		for _, v := range x {
			binary.Write(hash, binary.LittleEndian, float32(v))
		}
	}
	sum := hex.EncodeToString(hash.Sum(nil))
	const golden = "testdata/default_run.sha256"
	if *update {
		if err := os.WriteFile(golden, []byte(sum+"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	kept, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	// Other machines fuse multiplications and additions.
	if runtime.GOARCH == "amd64" && strings.TrimSpace(string(kept)) != sum {
		t.Errorf("the default bench has another checksum than the one kept; if its values or its arithmetic were "+
			"changed on purpose, run the test with -update\n got %s\nkept %s", sum, kept)
	}
}

// TestDefaultLevels: the demo's signal is one that a bench would give.
func TestDefaultLevels(t *testing.T) {
	play, s := stimulus(t, 3)
	for _, c := range []string{"", "470p 1%"} {
		var load capture.Load
		if c != "" {
			load.AddedC = capacitor(t, c)
		}
		b := Default()
		b.Hum = nil // it stands on lines of its own
		x := recorded(t, b, load, s.RateHz, 1, play, len(play))[0]
		if peak := dB(maxOf(x)); peak < -12.5 || peak > -6 {
			t.Errorf("added %q: peak %.1f dBFS, wanted -12 … -6", c, peak)
		}
		if c != "" {
			continue
		}
		// Repeats against their mean: signal over noise of the mean, a point
		// being as wide as a gate of 0.2 s leaves it (5 Hz).
		offset := s.LeadInSamples + int(Default().Clock.LatencySamples)
		for _, hz := range []float64{120, 230, 520, 1030, 2020} {
			var mean complex128
			points := make([]complex128, s.Repeats)
			for k := range points {
				from := offset + k*s.PeriodSamples
				period := x[from:min(from+s.PeriodSamples, len(x))]
				points[k] = amplitude(period, s.RateHz, hz) * complex(float64(len(period)), 0)
				mean += points[k] / complex(float64(s.Repeats), 0)
			}
			var spread float64
			for _, p := range points {
				d := p - mean
				spread += real(d)*real(d) + imag(d)*imag(d)
			}
			period := float64(s.PeriodSamples) / float64(s.RateHz)
			noise := math.Sqrt(spread / float64(s.Repeats-1) / float64(s.Repeats) * 0.2 / period)
			snr := dB(math.Hypot(real(mean), imag(mean)) / noise)
			if snr < 55 || snr > 85 {
				t.Errorf("%.1f dB over noise at %v Hz, wanted 60 … 80 within its scatter", snr, hz)
			}
		}
	}
}

func TestFormatAndDescription(t *testing.T) {
	b := Default()
	r, err := b.Recorder(capture.Load{}, 44100, 9)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := r.Format(), (record.Format{RateHz: 44100, Channels: 2}); got != want {
		t.Errorf("format %v, wanted %v", got, want)
	}
	d := r.Describe()
	if d.Source != "virtual" || d.CoilChannel != 1 || d.ReferenceChannel != 2 || len(d.FileSHA256) != 64 ||
		d.TwoClocks {
		t.Errorf("description %+v", d)
	}
	if !strings.Contains(strings.Join(d.Notes, "\n"), "simulated") {
		t.Errorf("the notes %q do not say that the bench is simulated", d.Notes)
	}
	b.Reference.Kind = "none"
	r, err = b.Recorder(capture.Load{}, 44100, 9)
	if err != nil {
		t.Fatal(err)
	}
	if r.Format().Channels != 1 || r.Describe().ReferenceChannel != 0 {
		t.Errorf("without a reference: %v, %+v", r.Format(), r.Describe())
	}
	for _, rate := range []int{0, -48000, 4000, 1 << 20} {
		if _, err := b.Recorder(capture.Load{}, rate, 1); err == nil {
			t.Errorf("a rate of %d Hz is taken", rate)
		}
	}
}

func TestRecordEndsEarly(t *testing.T) {
	r, err := Default().Recorder(capture.Load{}, 48000, 1)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	blocks := 0
	_, err = r.Record(ctx, nil, 1<<20, func([]float32) error {
		if blocks++; blocks == 3 {
			cancel()
		}
		return nil
	})
	if !errors.Is(err, context.Canceled) || blocks != 3 {
		t.Errorf("cancelled in block 3: error %v after %d blocks", err, blocks)
	}
	full := errors.New("disk full")
	_, err = r.Record(t.Context(), nil, 1<<20, func([]float32) error { return full })
	if !errors.Is(err, full) {
		t.Errorf("error of the sink: got %v", err)
	}
}

func TestStall(t *testing.T) {
	for _, realTime := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			b := Default()
			at := 0.1
			b.Faults.StallAfterS, b.Pace.RealTime = &at, realTime
			r, err := b.Recorder(capture.Load{}, 48000, 1)
			if err != nil {
				t.Fatal(err)
			}
			frames, began := 0, time.Now()
			_, err = r.Record(t.Context(), nil, 48000, func(block []float32) error {
				frames += len(block) / 2
				return nil
			})
			if !errors.Is(err, ErrStalled) || frames != 4800 {
				t.Errorf("stalled after 4800 frames: error %v after %d", err, frames)
			}
			took := time.Since(began)
			if realTime && (took < stallWait || took > 3*time.Second) || !realTime && took != 0 {
				t.Errorf("real time %v: the error came after %v", realTime, took)
			}
		})
	}
}

func TestRealTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := Default()
		b.Pace.RealTime = true
		r, err := b.Recorder(capture.Load{}, 48000, 1)
		if err != nil {
			t.Fatal(err)
		}
		began, frames := time.Now(), 0
		ctx, cancel := context.WithTimeout(t.Context(), 700*time.Millisecond)
		defer cancel()
		_, err = r.Record(ctx, nil, 48000, func(block []float32) error {
			frames += len(block) / 2
			if due := time.Duration(frames) * time.Second / 48000; time.Since(began) < due {
				t.Errorf("frame %d came after %v, due %v", frames, time.Since(began), due)
			}
			return nil
		})
		if !errors.Is(err, context.DeadlineExceeded) || time.Since(began) != 700*time.Millisecond {
			t.Errorf("error %v after %v", err, time.Since(began))
		}
		if frames < 48000*7/10-2*blockFrames || frames > 48000*7/10 {
			t.Errorf("%d frames in 0.7 s", frames)
		}
	})
}

// TestLatency: silence lasts as long as the latency.
func TestLatency(t *testing.T) {
	b := loopbackBench()
	b.Clock.LatencySamples = 1234
	play := make([]float32, 4800)
	play[0] = 0.5
	x := recorded(t, b, capture.Load{}, 48000, 1, play, 4800)[1]
	top := slices.Index(x, slices.Max(x))
	if top != 1234 {
		t.Errorf("the first played sample is recorded as number %d, wanted 1234", top)
	}
}

func BenchmarkTake(b *testing.B) {
	play, s := stimulus(b, excite.DefaultRequest().Repeats)
	bench := Default()
	b.ReportAllocs()
	for b.Loop() {
		r, err := bench.Recorder(capture.Load{}, s.RateHz, 1)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := r.Record(b.Context(), play, len(play), func([]float32) error { return nil }); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(play))/float64(s.RateHz), "s/take")
}
