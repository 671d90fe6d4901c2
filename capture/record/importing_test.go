package record

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilsweep/capture"
	"coilsweep/capture/wav"
	"coilsweep/excite"
)

func decodeStimulus(path string) (excite.Stimulus, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return excite.Stimulus{}, err
	}
	return excite.Decode(data)
}

// heard is what a recorder hears of a stimulus that starts after delay frames.
func heard(s excite.Stimulus, delay int, gain float64) []float64 {
	out := make([]float64, delay+s.TotalSamples()+4800)
	for i, v := range s.Samples() {
		out[delay+i] = max(-1, min(gain*v, 1))
	}
	hiss := uint32(1)
	for i := range out {
		hiss = hiss*1664525 + 1013904223
		out[i] += (float64(hiss)/(1<<32) - 0.5) * 1e-5
	}
	return out
}

// answered is heard through a coil, as far as a recording matters.
func answered(s excite.Stimulus, delay int, gain float64) []float64 {
	out := heard(s, delay, gain)
	var coil rising
	for i, v := range out {
		out[i] = coil.next(v)
	}
	return out
}

// writeWAV writes channels as a file of format f and returns its path.
func writeWAV(t testing.TB, f wav.Format, channels ...[]float64) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "rec.wav")
	f.Channels = len(channels)
	if err := writeCapture(path, capture.Recording{Samples: channels, Source: f}, createFile); err != nil {
		t.Fatal(err)
	}
	return path
}

func recordingOf(t testing.TB, s excite.Stimulus) string {
	return writeWAV(t, pcm24, answered(s, 5000, 1))
}

var pcm24 = wav.Format{Encoding: wav.PCM, Bits: 24, RateHz: 48000}

func TestImportKeepsTheAudioWithoutLoss(t *testing.T) {
	s := shortStimulus(t)
	coil, reference := answered(s, 5000, 0.5), heard(s, 5000, 0.25)
	silence := make([]float64, len(coil))
	for _, format := range []wav.Format{
		{Encoding: wav.PCM, Bits: 16, RateHz: 48000},
		pcm24,
		{Encoding: wav.PCM, Bits: 32, RateHz: 48000},
		{Encoding: wav.Float, Bits: 32, RateHz: 48000},
		{Encoding: wav.Float, Bits: 64, RateHz: 48000},
	} {
		t.Run(fmt.Sprintf("%d bits of encoding %d", format.Bits, format.Encoding), func(t *testing.T) {
			f := newFolder(t)
			path := writeWAV(t, format, silence, reference, coil)
			p := plan(t, "bare")
			p.Reference.Kind = "current"
			take, err := Import(t.Context(), f, p, ImportOptions{Recording: path, CoilChannel: 3, ReferenceChannel: 2})
			if err != nil {
				t.Fatal(err)
			}
			if take.Unfit() != nil {
				t.Errorf("unfit: %v", take.Unfit())
			}
			original, err := capture.ReadRecording(path)
			if err != nil {
				t.Fatal(err)
			}
			got, err := f.Audio(take)
			if err != nil {
				t.Fatal(err)
			}
			if !slices.Equal(got.Samples[0], original.Samples[2]) ||
				!slices.Equal(got.Samples[1], original.Samples[1]) {
				t.Error("the samples are not those of the recording")
			}
			if got.Source.Encoding != format.Encoding || got.Source.Bits != format.Bits {
				t.Errorf("kept as %v, want %v", got.Source, format)
			}
			if got.Info != take.AudioInfo() {
				t.Errorf("the audio says %+v, want %+v", got.Info, take.AudioInfo())
			}
			sum, err := exec.Command("sha256sum", path).Output()
			if err != nil {
				t.Skip("no sha256sum to check against")
			}
			b := take.Bench
			if b.Source != "import" || b.File != "rec.wav" || b.FileSHA256 != string(sum[:64]) || b.CoilChannel != 3 ||
				b.ReferenceChannel != 2 {
				t.Errorf("bench %+v, want rec.wav with %s", b, sum)
			}
			// the folder, coil.toml, takes, the take and its two files
			if left := tree(t, f.TakeDir("..")); len(left) != 6 {
				t.Errorf("%d entries in the coil folder, want 6", len(left))
			}
		})
	}
}

// Of a file that is damaged near its end the whole sweeps before are used.
func TestImportBeforeTheDamage(t *testing.T) {
	if _, err := exec.LookPath("flac"); err != nil {
		t.Skip("no flac program here")
	}
	s := shortStimulus(t)
	x := answered(s, 5000, 1)
	second := s.RepeatStart(1) + 5000
	packed := filepath.Join(t.TempDir(), "rec.flac")
	if out, err := exec.Command("flac", "--totally-silent", "-o", packed,
		recordingOf(t, s)).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	data, err := os.ReadFile(packed)
	if err != nil {
		t.Fatal(err)
	}
	data[len(data)*4/5] ^= 0x10 // within the second sweep: silence takes few bytes
	flipped := filepath.Join(t.TempDir(), "flipped.flac")
	if err := os.WriteFile(flipped, data, 0o666); err != nil {
		t.Fatal(err)
	}
	x[second+1000] = math.NaN()
	for _, path := range []string{
		writeWAV(t, wav.Format{Encoding: wav.Float, Bits: 32, RateHz: 48000}, x), flipped,
	} {
		f := newFolder(t)
		take, err := Import(t.Context(), f, plan(t, "bare"), ImportOptions{Recording: path})
		if err != nil {
			t.Errorf("%s: %v", path, err)
			continue
		}
		if frames := int(take.Audio.Frames); frames < second-5000 || frames > second+s.SweepSamples ||
			take.Unfit() != nil || len(take.Alignment.StartSample) == 0 ||
			!strings.Contains(strings.Join(take.Bench.Notes, ""), "damaged") {
			t.Errorf("%s: %d frames, %v, notes %q, alignment %+v", path, frames, take.Quality.Flags, take.Bench.Notes,
				take.Alignment)
		}
		if err := f.CheckAudio(take); err != nil {
			t.Error(err)
		}
	}
}

// What bad recordings get: nothing of them is kept.
func TestImportRefuses(t *testing.T) {
	s := shortStimulus(t)
	f := newFolder(t)
	recorded(t, f, "taken", 1)
	before := tree(t, f.Dir)
	good := recordingOf(t, s)
	file := func(name string, data []byte) string {
		path := filepath.Join(t.TempDir(), name)
		if err := os.WriteFile(path, data, 0o666); err != nil {
			t.Fatal(err)
		}
		return path
	}
	data, err := os.ReadFile(good)
	if err != nil {
		t.Fatal(err)
	}
	damaged := bytes.Clone(data)
	copy(damaged[12:], "fmt \xff\xff\xff\x7f")
	tests := []struct {
		name string
		path string
		edit func(*capture.Take, *ImportOptions)
		want []string
	}{
		{"missing", filepath.Join(t.TempDir(), "none.wav"), nil, []string{"cannot read the recording", "none.wav"}},
		{"folder", t.TempDir(), nil, []string{"is not a plain file"}},
		{"empty", file("empty.wav", nil), nil, []string{"empty.wav", "record again"}},
		{"not audio", file("notes.txt", []byte("7.85 kohm at 22 C, neck pickup")), nil,
			[]string{"notes.txt", "neither a WAV nor a FLAC file"}},
		{"short and not audio", file("x", []byte("x")), nil, []string{"neither a WAV nor a FLAC file"}},
		{"damaged header", file("damaged.wav", damaged), nil, []string{"damaged.wav", "claims 2147483647 bytes"}},
		{"cut off in its header", file("head.wav", data[:30]), nil, []string{"head.wav", "damaged"}},
		{"cut off before one sweep", file("cut.wav", data[:20000]), nil,
			[]string{"cut.wav", "one sweep lasts", "at least one whole sweep"}},
		{"too short", writeWAV(t, pcm24, make([]float64, 1000)), nil,
			[]string{"0.02 s long", "record at least one whole sweep"}},
		{"another rate", writeWAV(t, wav.Format{Encoding: wav.PCM, Bits: 16, RateHz: 44100}, heard(s, 0, 1)), nil,
			[]string{"recorded at 44100 Hz", "48000 Hz"}},
		{"channel not there", good, func(_ *capture.Take, o *ImportOptions) { o.CoilChannel = 2 },
			[]string{"channel 2 asked for", "1 channel"}},
		{"negative channel", good, func(_ *capture.Take, o *ImportOptions) { o.CoilChannel = -1 },
			[]string{"channel -1"}},
		{"reference not there", good, func(t *capture.Take, _ *ImportOptions) { t.Reference.Kind = "current" },
			[]string{"channel 2 asked for"}},
		{"reference is the coil", good,
			func(t *capture.Take, o *ImportOptions) { t.Reference.Kind = "current"; o.ReferenceChannel = 1 },
			[]string{"both said to be on channel 1"}},
		{"name taken", good, func(t *capture.Take, _ *ImportOptions) { t.Name = "taken" },
			[]string{`"taken"`, "already a take"}},
		{"not a number", writeWAV(t, wav.Format{Encoding: wav.Float, Bits: 32, RateHz: 48000},
			[]float64{0, math.NaN()}), nil, []string{"rec.wav", "NaN at frame 1"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p, o := plan(t, "bare"), ImportOptions{Recording: tt.path}
			if tt.edit != nil {
				tt.edit(&p, &o)
			}
			_, err := Import(t.Context(), f, p, o)
			wantError(t, err, tt.want...)
			if diff := cmp.Diff(before, tree(t, f.Dir)); diff != "" {
				t.Errorf("the folder changed:\n%s", diff)
			}
		})
	}
	_, err = Import(t.Context(), f, func() capture.Take { p := plan(t, "taken"); return p }(),
		ImportOptions{Recording: good})
	if !errors.Is(err, capture.ErrTakeExists) {
		t.Errorf("error %v, want ErrTakeExists", err)
	}
}

func TestImportOnAFullDisk(t *testing.T) {
	f := newFolder(t)
	before := tree(t, f.Dir)
	_, err := importTake(t.Context(), f, plan(t, "bare"), ImportOptions{Recording: recordingOf(t, shortStimulus(t))},
		func(path string) (recordingFile, error) {
			file, err := os.Create(path)
			return &fullFile{file, 100000}, err
		})
	if !errors.Is(err, syscall.ENOSPC) {
		t.Errorf("error %v, want %v", err, syscall.ENOSPC)
	}
	wantError(t, err, "cannot keep the recording in "+f.Dir,
		"no space left on device: free space on the disk that holds "+filepath.Join(f.Dir, capture.TakesDir))
	if diff := cmp.Diff(before, tree(t, f.Dir)); diff != "" {
		t.Errorf("the folder changed:\n%s", diff)
	}
}

func TestImportEndsWithItsContext(t *testing.T) {
	f := newFolder(t)
	before := tree(t, f.Dir)
	ctx, stop := context.WithCancel(t.Context())
	_, err := importTake(ctx, f, plan(t, "bare"), ImportOptions{Recording: recordingOf(t, shortStimulus(t))},
		func(path string) (recordingFile, error) {
			stop() // while the audio is being copied
			return createFile(path)
		})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("error %v, want %v", err, context.Canceled)
	}
	if diff := cmp.Diff(before, tree(t, f.Dir)); diff != "" {
		t.Errorf("the folder changed:\n%s", diff)
	}
}

// What unfit recordings get: a take with flags.
func TestImportKeepsUnfitRecordingsWithTheirFlags(t *testing.T) {
	s := shortStimulus(t)
	hiss := heard(s, 0, 0)
	tests := []struct {
		name    string
		samples []float64
		want    capture.Flag
	}{
		{"silent", make([]float64, 2*s.TotalSamples()), capture.NoStimulus},
		{"without the stimulus", hiss, capture.NoStimulus},
		{"clipped", heard(s, 5000, 6), capture.Clipped},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			f := newFolder(t)
			take, err := Import(t.Context(), f, plan(t, "bare"),
				ImportOptions{Recording: writeWAV(t, pcm24, tt.samples)})
			if err != nil {
				t.Fatal(err)
			}
			if !slices.Contains(take.Unfit(), tt.want) {
				t.Errorf("flags %v, want %q", take.Quality.Flags, tt.want)
			}
			if kept, err := f.ReadTake("bare"); err != nil || !slices.Equal(kept.Quality.Flags, take.Quality.Flags) {
				t.Errorf("kept with %v, %v", kept.Quality.Flags, err)
			}
		})
	}
}

// A file that lies about its sizes or was cut off is used as far as it goes,
// and the take says so.
func TestImportOfAMendedFile(t *testing.T) {
	data, err := os.ReadFile(recordingOf(t, shortStimulus(t)))
	if err != nil {
		t.Fatal(err)
	}
	lying := bytes.Clone(data)
	copy(lying[76:], "\xff\xff\xff\xff")
	for name, data := range map[string][]byte{"lying": lying, "cut": data[:len(data)-10001]} {
		t.Run(name, func(t *testing.T) {
			f := newFolder(t)
			path := filepath.Join(t.TempDir(), "rec.wav")
			if err := os.WriteFile(path, data, 0o666); err != nil {
				t.Fatal(err)
			}
			take, err := Import(t.Context(), f, plan(t, "bare"), ImportOptions{Recording: path})
			if err != nil {
				t.Fatal(err)
			}
			if take.Unfit() != nil || !strings.Contains(strings.Join(take.Bench.Notes, ";"),
				"read to the end of the file") {
				t.Errorf("flags %v, notes %q", take.Quality.Flags, take.Bench.Notes)
			}
		})
	}
}

func TestImportOfFLAC(t *testing.T) {
	if _, err := exec.LookPath("flac"); err != nil {
		t.Skip("no flac encoder here; decoding is tested with kept files")
	}
	// Two channels with much in common: the encoder takes their difference.
	s := shortStimulus(t)
	path := writeWAV(t, pcm24, heard(s, 5000, 1), heard(s, 5001, 0.9))
	packed := filepath.Join(t.TempDir(), "rec.flac")
	if out, err := exec.Command("flac", "--totally-silent", "--best", "-o", packed, path).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	f := newFolder(t)
	p := plan(t, "bare")
	p.Reference.Kind = "loopback"
	take, err := Import(t.Context(), f, p, ImportOptions{Recording: packed})
	if err != nil {
		t.Fatal(err)
	}
	got, err := f.Audio(take)
	if err != nil {
		t.Fatal(err)
	}
	want, err := capture.ReadRecording(path)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(got.Samples[0], want.Samples[0]) || !slices.Equal(got.Samples[1], want.Samples[1]) ||
		got.Source != want.Source {
		t.Error("the audio is not that of the file before it was packed")
	}
}

// What recorders and their users do to a recording that is still usable.
func TestImportOfUsualRecordings(t *testing.T) {
	s := shortStimulus(t)
	whole := answered(s, 5000, 0.5)
	inverted := make([]float64, len(whole))
	for i, v := range whole {
		inverted[i] = -v
	}
	secondSweep := 5000 + s.RepeatStart(1)
	tests := []struct {
		name     string
		format   wav.Format
		samples  []float64
		polarity int
	}{
		{"started long before", pcm24, answered(s, 3*48000, 0.5), 1},
		{"started within the first sweep", pcm24, whole[5000+s.LeadInSamples+4000:], 1},
		{"stopped after the first sweep", pcm24, whole[:secondSweep], 1},
		{"one sweep alone", pcm24, whole[5000+s.RepeatStart(0)-100 : secondSweep], 1},
		{"inverted", pcm24, inverted, -1},
		{"16 bits", wav.Format{Encoding: wav.PCM, Bits: 16, RateHz: 48000}, whole, 1},
		{"float", wav.Format{Encoding: wav.Float, Bits: 32, RateHz: 48000}, whole, 1},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			take, err := Import(t.Context(), newFolder(t), plan(t, "bare"),
				ImportOptions{Recording: writeWAV(t, tt.format, tt.samples)})
			if err != nil {
				t.Fatal(err)
			}
			if take.Unfit() != nil || take.Quality.Polarity != tt.polarity {
				t.Errorf("flags %v, polarity %+d, want %+d", take.Quality.Flags, take.Quality.Polarity, tt.polarity)
			}
		})
	}
}

// The reference of a recording is judged by what was recorded, long enough a sweep to
// tell what is connected.
func TestImportHearsTheReference(t *testing.T) {
	r := excite.DefaultRequest()
	r.SweepS, r.Repeats = 0.7, 2
	s, err := excite.Design(r)
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		gain float64
		want []capture.Flag
	}{{0.25, nil}, {0, []capture.Flag{capture.NoReference}}} {
		p := plan(t, "bare")
		p.Stimulus, p.Reference.Kind = s, "current"
		path := writeWAV(t, pcm24, answered(s, 5000, 0.5), heard(s, 5000, tt.gain))
		take, err := Import(t.Context(), newFolder(t), p, ImportOptions{Recording: path})
		if err != nil {
			t.Fatal(err)
		}
		if got := take.Unfit(); !slices.Equal(got, tt.want) {
			t.Errorf("reference by %g: unfit %v, want %v", tt.gain, got, tt.want)
		}
	}
}
