package wav_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"coilsweep/capture/wav"
)

const soxFiles = "../../testdata/wav"

// left and right are the frames of the files in testdata/wav, over 128.
var left = []float64{0, 64, -64, -128, 127, 1, -1, 32}

func frames(channels string) [][]float64 {
	out := make([][]float64, len(channels))
	for c, side := range channels {
		for i := range left {
			v := left[i]
			if side == 'r' {
				v = left[len(left)-1-i]
			}
			out[c] = append(out[c], v/128)
		}
	}
	return out
}

func read(t testing.TB, b []byte) (*wav.Reader, [][]float64) {
	t.Helper()
	r, err := wav.NewReader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	s, err := r.Samples()
	if err != nil {
		t.Fatal(err)
	}
	return r, s
}

func readFile(t testing.TB, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(soxFiles, name))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// The files were written by sox, see testdata/wav/make.sh.
var soxTable = []struct {
	file     string
	format   wav.Format
	channels string
}{
	{"pcm8.wav", wav.Format{Encoding: wav.PCM, Bits: 8, RateHz: 48000, Channels: 2}, "lr"},
	{"pcm16.wav", wav.Format{Encoding: wav.PCM, Bits: 16, RateHz: 48000, Channels: 2}, "lr"},
	{"pcm24.wav", wav.Format{Encoding: wav.PCM, Bits: 24, RateHz: 48000, Channels: 2}, "lr"},
	{"pcm32.wav", wav.Format{Encoding: wav.PCM, Bits: 32, RateHz: 48000, Channels: 2}, "lr"},
	{"float32.wav", wav.Format{Encoding: wav.Float, Bits: 32, RateHz: 48000, Channels: 2}, "lr"},
	{"float64.wav", wav.Format{Encoding: wav.Float, Bits: 64, RateHz: 48000, Channels: 2}, "lr"},
	{"mono24.wav", wav.Format{Encoding: wav.PCM, Bits: 24, RateHz: 48000, Channels: 1}, "l"},
	{"four16.wav", wav.Format{Encoding: wav.PCM, Bits: 16, RateHz: 48000, Channels: 4}, "lrrl"},
}

func TestReadsWhatSoxWrote(t *testing.T) {
	for _, tt := range soxTable {
		t.Run(tt.file, func(t *testing.T) {
			r, got := read(t, readFile(t, tt.file))
			if r.Format != tt.format {
				t.Errorf("format %v, want %v", r.Format, tt.format)
			}
			if diff := cmp.Diff(frames(tt.channels), got); diff != "" {
				t.Errorf("samples (-want +got):\n%s", diff)
			}
			if len(r.Remarks) != 0 {
				t.Errorf("remarks on a sound file: %q", r.Remarks)
			}
		})
	}
}

func TestReadsAPipedFileToItsEnd(t *testing.T) {
	r, got := read(t, readFile(t, "piped24.wav"))
	if diff := cmp.Diff(frames("lr"), got); diff != "" {
		t.Errorf("samples (-want +got):\n%s", diff)
	}
	wantRemark(t, r, "read to the end of the file")
}

// memFile is a file in memory, full after limit bytes (0: never).
type memFile struct {
	b     []byte
	limit int
	syncs int
}

var errFull = errors.New("no space left")

func (f *memFile) Write(p []byte) (int, error) {
	if f.limit > 0 && len(f.b)+len(p) > f.limit {
		n := f.limit - len(f.b)
		f.b = append(f.b, p[:n]...)
		return n, errFull
	}
	f.b = append(f.b, p...)
	return len(p), nil
}

func (f *memFile) WriteAt(p []byte, at int64) (int, error) {
	return copy(f.b[at:], p), nil
}

func (f *memFile) Sync() error { f.syncs++; return nil }

func interleave(s [][]float64) []float64 {
	var out []float64
	for i := range s[0] {
		for c := range s {
			out = append(out, s[c][i])
		}
	}
	return out
}

func write(t testing.TB, f wav.Format, samples []float64) []byte {
	t.Helper()
	var file memFile
	w, err := wav.NewWriter(&file, f, wav.Info{})
	if err != nil {
		t.Fatal(err)
	}
	if err := w.WriteFloat64(samples); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if file.syncs == 0 {
		t.Error("Close did not sync")
	}
	return file.b
}

// Byte for byte what sox wrote, but for the speakers of four channels, which
// we leave unnamed.
func TestWritesWhatSoxWrites(t *testing.T) {
	for _, tt := range soxTable {
		t.Run(tt.file, func(t *testing.T) {
			want := readFile(t, tt.file)
			if tt.format.Channels == 4 {
				want[40] = 0
			}
			got := write(t, tt.format, interleave(frames(tt.channels)))
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("file (-sox +ours):\n%s", diff)
			}
		})
	}
}

func TestRoundsToNearestAndHoldsAtTheRails(t *testing.T) {
	const lsb = 1.0 / (1 << 23)
	f := wav.Format{Encoding: wav.PCM, Bits: 24, RateHz: 48000, Channels: 1}
	_, got := read(t, write(t, f, []float64{1, 2, -2, 0.49 * lsb, 0.51 * lsb, -0.51 * lsb, math.Inf(1)}))
	want := [][]float64{{1 - lsb, 1 - lsb, -1, 0, lsb, -lsb, 1 - lsb}}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("samples (-want +got):\n%s", diff)
	}
}

// chunk is one chunk with its padding.
func chunk(id string, body []byte) []byte {
	b := binary.LittleEndian.AppendUint32([]byte(id), uint32(len(body)))
	b = append(b, body...)
	if len(body)%2 == 1 {
		b = append(b, 0)
	}
	return b
}

func riff(chunks ...[]byte) []byte {
	body := append([]byte("WAVE"), bytes.Join(chunks, nil)...)
	return append(binary.LittleEndian.AppendUint32([]byte("RIFF"), uint32(len(body))), body...)
}

func formatChunk(tag, channels int, rate int, block, bits int, more ...byte) []byte {
	le := binary.LittleEndian
	b := le.AppendUint16(nil, uint16(tag))
	b = le.AppendUint16(b, uint16(channels))
	b = le.AppendUint32(b, uint32(rate))
	b = le.AppendUint32(b, uint32(rate*block))
	b = le.AppendUint16(b, uint16(block))
	b = le.AppendUint16(b, uint16(bits))
	return chunk("fmt ", append(b, more...))
}

var (
	mono16  = formatChunk(1, 1, 48000, 2, 16)
	samples = []byte{0, 0x40, 0, 0xC0, 0, 0x20} // 1/2, -1/2, 1/4
	halves  = [][]float64{{0.5, -0.5, 0.25}}
)

// sized sets the 32-bit size at offset at.
func sized(b []byte, at int, size uint32) []byte {
	b = bytes.Clone(b)
	binary.LittleEndian.PutUint32(b[at:], size)
	return b
}

// rf64 is a file in the manner of EBU Tech 3306: 32-bit sizes all ones, the
// true ones in ds64.
func rf64(id string, dataSize uint64) []byte {
	le := binary.LittleEndian
	ds := le.AppendUint64(nil, 4+8+28+uint64(len(mono16))+8+uint64(len(samples)))
	ds = le.AppendUint64(ds, dataSize)
	ds = le.AppendUint64(ds, 3)
	ds = le.AppendUint32(ds, 0)
	b := riff(chunk("ds64", ds), mono16, chunk("data", samples))
	copy(b, id)
	b = sized(b, 4, math.MaxUint32)
	return sized(b, len(b)-len(samples)-4, math.MaxUint32)
}

func TestReadsOddButUsableFiles(t *testing.T) {
	data := chunk("data", samples)
	plain := riff(mono16, data)
	sizeAt := len(plain) - len(samples) - 4
	odd := []byte("odd")
	tests := []struct {
		name   string
		file   []byte
		want   [][]float64
		remark string // none if empty
	}{
		{"LIST, bext and JUNK before the audio",
			riff(chunk("JUNK", make([]byte, 28)), chunk("bext", make([]byte, 603)), mono16, chunk("LIST", odd), data),
			halves, ""},
		{"LIST after the audio", riff(mono16, data, chunk("LIST", odd)), halves, ""},
		{"padding of odd audio before a chunk",
			riff(formatChunk(1, 1, 48000, 1, 8), chunk("data", []byte{192}), chunk("LIST", odd)), [][]float64{{0.5}},
			""},
		{"size of the audio 0", sized(sized(plain, sizeAt, 0), 4, 0), halves, "never filled in"},
		{"size of the audio all ones", sized(plain, sizeAt, math.MaxUint32), halves, "never filled in"},
		{"size of the audio too large", sized(plain, sizeAt, 1000), halves, "claims 1000 bytes of audio, 6 are there"},
		{"cut off in a frame", plain[:len(plain)-1], [][]float64{{0.5, -0.5}}, "last frame is incomplete"},
		{"odd size of the audio", sized(plain, sizeAt, 5), [][]float64{{0.5, -0.5}}, "last frame is incomplete"},
		{"no audio at all", riff(mono16, chunk("data", nil)), [][]float64{{}}, ""},
		{"no audio, then a chunk", riff(mono16, chunk("data", nil), chunk("LIST", odd)), [][]float64{{}}, ""},
		{"more audio than the sizes say", append(bytes.Clone(plain), samples[:4]...), halves, ""},
		{"much more audio than the sizes say", append(bytes.Clone(plain), bytes.Repeat(samples, 4)...), halves,
			"24 bytes after the audio"},
		{"RIFF size wrong", sized(plain, 4, 3), halves, ""},
		{"RF64", rf64("RF64", 6), halves, ""},
		{"BW64", rf64("BW64", 6), halves, ""},
		{"RF64 with an impossible size", rf64("RF64", math.MaxUint64), halves, "6 are there"},
		{"RF64 never finished", rf64("RF64", 0), halves, "never filled in"},
		{"24 bits in 32", riff(formatChunk(1, 1, 48000, 4, 24), chunk("data", []byte{0, 0, 0, 0x40})),
			[][]float64{{0.5}}, ""},
		{"12 bits in 16", riff(formatChunk(1, 1, 48000, 2, 12), chunk("data", []byte{0, 0x40})), [][]float64{{0.5}},
			""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r, got := read(t, tt.file)
			if diff := cmp.Diff(tt.want, got); diff != "" {
				t.Errorf("samples (-want +got):\n%s", diff)
			}
			if tt.remark == "" && len(r.Remarks) > 0 {
				t.Errorf("remarks: %q, want none", r.Remarks)
			}
			wantRemark(t, r, tt.remark)
		})
	}
}

func wantRemark(t *testing.T, r *wav.Reader, part string) {
	t.Helper()
	if all := strings.Join(r.Remarks, "; "); !strings.Contains(all, part) {
		t.Errorf("remarks %q, want one with %q", all, part)
	}
}

// Each must be refused at once, whatever sizes it claims.
func TestRefusesUnusableFiles(t *testing.T) {
	data := chunk("data", samples)
	extensible := func(sub string) []byte {
		return formatChunk(0xFFFE, 1, 48000, 2, 16, []byte("\x16\x00\x10\x00\x04\x00\x00\x00"+sub)...)
	}
	tests := []struct {
		name string
		file []byte
		want string
	}{
		{"empty", nil, "only 0 bytes"},
		{"text", []byte("coil,ohm\nneck,7850\n"), "not a WAV file"},
		{"big-endian", append([]byte("RIFX"), riff(mono16, data)[4:]...), "big-endian"},
		{"AVI", append([]byte("RIFF\x00\x00\x00\x00AVI "), data...), "not a WAV file"},
		{"header only", riff(), "no data chunk"},
		{"no audio chunk", riff(mono16), "no data chunk"},
		{"audio before format", riff(data, mono16), "before its format"},
		{"format of 2^31 bytes", sized(riff(mono16, data), 16, 1<<31), "claims 2147483648 bytes"},
		{"format of 4 bytes", riff(chunk("fmt ", []byte{1, 0, 1, 0}), data), "want at least 16"},
		{"unknown chunk of 2^31 bytes", riff(sized(chunk("JUNK", nil), 4, 1<<31), mono16, data),
			"claims 2147483648 bytes"},
		{"0 channels", riff(formatChunk(1, 0, 48000, 2, 16), data), "0 channels"},
		{"0 Hz", riff(formatChunk(1, 1, 0, 2, 16), data), "0 Hz"},
		{"0 bits", riff(formatChunk(1, 1, 48000, 2, 0), data), "contradicts"},
		{"65535 channels in 2 bytes", riff(formatChunk(1, 65535, 48000, 2, 16), data), "contradicts"},
		{"24 bits in 16", riff(formatChunk(1, 1, 48000, 2, 24), data), "contradicts"},
		{"48-bit integers", riff(formatChunk(1, 1, 48000, 6, 48), data), "48 bits"},
		{"16-bit floats", riff(formatChunk(3, 1, 48000, 2, 16), data), "16 bits"},
		{"32-bit floats in 64", riff(formatChunk(3, 1, 48000, 8, 32), data), "contradicts"},
		{"A-law", riff(formatChunk(6, 1, 48000, 1, 8), data), "compressed (format tag 0x0006)"},
		{"extensible without extension", riff(formatChunk(0xFFFE, 1, 48000, 2, 16), data), "no known sample format"},
		{"extensible with another sub-format",
			riff(extensible("\x01\x00\x00\x00\x21\x07\xd3\x11\x86\x44\xc8\xc1\xca\x00\x00\x00"), data),
			"no known sample format"},
		{"zeroes without end", append(riff(), make([]byte, 1<<20)...), "no audio within"},
		{"ds64 cut off", riff(chunk("ds64", []byte("short")), mono16, data), "ds64"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			start := time.Now()
			_, err := wav.NewReader(bytes.NewReader(tt.file), int64(len(tt.file)))
			if err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("error %v, want one with %q", err, tt.want)
			}
			if took := time.Since(start); took > time.Second {
				t.Errorf("took %v", took)
			}
		})
	}
}

// A process that is killed calls no Close: the file must be readable as it
// stands, to within a tenth of a second.
func TestUnclosedFileIsReadable(t *testing.T) {
	f := wav.Format{Encoding: wav.Float, Bits: 32, RateHz: 8000, Channels: 2}
	var file memFile
	w, err := wav.NewWriter(&file, f, wav.Info{})
	if err != nil {
		t.Fatal(err)
	}
	if _, got := read(t, file.b); len(got[0]) != 0 {
		t.Fatalf("%d frames in a fresh file", len(got[0]))
	}
	block := make([]float32, 2*37)
	for n := 1; n <= 100; n++ {
		if err := w.WriteFloat32(block); err != nil {
			t.Fatal(err)
		}
		r, got := read(t, file.b)
		if lost := n*37 - len(got[0]); lost < 0 || lost > 8000/10+37 {
			t.Fatalf("after %d frames, %d can be read (remarks %q)", n*37, len(got[0]), r.Remarks)
		}
	}
	if w.Frames() != 3700 {
		t.Errorf("Frames() = %d, want 3700", w.Frames())
	}
}

func TestFullDiskLeavesWholeFrames(t *testing.T) {
	f := wav.Format{Encoding: wav.PCM, Bits: 24, RateHz: 48000, Channels: 1}
	file := memFile{limit: 80 + 3*100 + 1}
	w, err := wav.NewWriter(&file, f, wav.Info{})
	if err != nil {
		t.Fatal(err)
	}
	err = nil
	for n := 0; n < 10 && err == nil; n++ {
		err = w.WriteFloat32(make([]float32, 33))
	}
	if !errors.Is(err, errFull) {
		t.Fatalf("error %v, want %v", err, errFull)
	}
	if again := w.WriteFloat32(make([]float32, 1)); !errors.Is(again, errFull) {
		t.Errorf("writing on after a failure: %v", again)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	r, _ := read(t, file.b)
	if r.Frames != 100 || w.Frames() != 100 {
		t.Errorf("%d frames readable, Frames() = %d, want 100 each", r.Frames, w.Frames())
	}
}

func TestWriterRefuses(t *testing.T) {
	for _, f := range []wav.Format{
		{Encoding: wav.PCM, Bits: 12, RateHz: 48000, Channels: 1},
		{Encoding: wav.Float, Bits: 16, RateHz: 48000, Channels: 1},
		{Encoding: 6, Bits: 8, RateHz: 48000, Channels: 1},
		{Encoding: wav.PCM, Bits: 16, RateHz: 0, Channels: 1},
		{Encoding: wav.PCM, Bits: 16, RateHz: 48000, Channels: 0},
	} {
		if _, err := wav.NewWriter(&memFile{}, f, wav.Info{}); err == nil {
			t.Errorf("%v: no error", f)
		}
	}
	w, err := wav.NewWriter(&memFile{}, wav.Format{Encoding: wav.PCM, Bits: 16, RateHz: 48000, Channels: 2}, wav.Info{})
	if err != nil {
		t.Fatal(err)
	}
	if err := w.WriteFloat32(make([]float32, 3)); err == nil {
		t.Error("half a frame: no error")
	}
}

// holeyFile takes any amount of audio and keeps none of it.
type holeyFile struct{ memFile }

func (f *holeyFile) Write(p []byte) (int, error) {
	if len(f.b) == 0 {
		return f.memFile.Write(p)
	}
	return len(p), nil
}

func TestWriterStopsAt4GiB(t *testing.T) {
	w, err := wav.NewWriter(&holeyFile{}, wav.Format{Encoding: wav.Float, Bits: 64, RateHz: 192000, Channels: 2},
		wav.Info{})
	if err != nil {
		t.Fatal(err)
	}
	block := make([]byte, 1<<26)
	for range 63 {
		if _, err := w.Write(block); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := w.Write(block); !errors.Is(err, wav.ErrTooLong) {
		t.Errorf("past 4 GiB: error %v", err)
	}
	if err := w.Close(); err != nil {
		t.Error(err)
	}
}

func FuzzReader(f *testing.F) {
	for _, tt := range soxTable {
		f.Add(readFile(f, tt.file))
	}
	f.Add(rf64("RF64", 6))
	f.Add(told(f, wav.Info{Name: "bare", Comment: "odd"}))
	f.Add(riff(mono16, chunk("LIST", []byte("INFOINAM\xff\xff\xff\xffx")), chunk("data", samples)))
	f.Add(sized(riff(mono16, chunk("data", samples)), 16, 1<<31))
	f.Fuzz(func(t *testing.T, b []byte) {
		r, err := wav.NewReader(bytes.NewReader(b), int64(len(b)))
		if err != nil {
			return
		}
		if need := r.Frames * int64(r.Format.FrameBytes()); need > int64(len(b)) {
			t.Fatalf("%d bytes of audio from a file of %d", need, len(b))
		}
		got, err := r.Samples()
		if err != nil {
			t.Fatal(err)
		}
		// What was read can be written, and reads the same, bit for bit.
		again, err := io.ReadAll(r.Data())
		if err != nil {
			t.Fatal(err)
		}
		if len(got[0]) == 0 {
			return
		}
		out := write(t, r.Format, interleave(got))
		r2, _ := read(t, out)
		if raw, _ := io.ReadAll(r2.Data()); !bytes.Equal(raw, again) && !hasNaN(got) {
			t.Fatalf("%v: written again, the audio differs", r.Format)
		}
	})
}

// hasNaN: the bits of a float that is no number need not survive.
func hasNaN(s [][]float64) bool {
	for _, c := range s {
		for _, v := range c {
			if v != v {
				return true
			}
		}
	}
	return false
}

// 30 s of stereo at 24 bits and 96 kHz.
func BenchmarkRead(b *testing.B) {
	f := wav.Format{Encoding: wav.PCM, Bits: 24, RateHz: 96000, Channels: 2}
	path := filepath.Join(b.TempDir(), "long.wav")
	if err := os.WriteFile(path, write(b, f, make([]float64, 2*30*96000)), 0o666); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		file, err := os.Open(path)
		if err != nil {
			b.Fatal(err)
		}
		info, err := file.Stat()
		if err != nil {
			b.Fatal(err)
		}
		r, err := wav.NewReader(file, info.Size())
		if err != nil {
			b.Fatal(err)
		}
		if _, err := r.Samples(); err != nil {
			b.Fatal(err)
		}
		file.Close()
	}
}
