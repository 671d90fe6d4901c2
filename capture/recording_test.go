package capture

import (
	"bytes"
	"encoding/binary"
	"errors"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/mewkiz/flac"
	"github.com/mewkiz/flac/frame"
	"github.com/mewkiz/flac/meta"

	"coilsweep/capture/wav"
)

const soxFiles = "../testdata/wav"

// The frames of the files in testdata/wav, see make.sh there.
var soxLeft, soxRight = func() (l, r []float64) {
	for _, v := range []float64{0, 64, -64, -128, 127, 1, -1, 32} {
		l = append(l, v/128)
		r = append([]float64{v / 128}, r...)
	}
	return l, r
}()

func TestReadRecording(t *testing.T) {
	tests := []struct {
		file     string
		bits     int
		full     float64
		channels [][]float64
	}{
		{"pcm16.wav", 16, 1, [][]float64{soxLeft, soxRight}},
		{"float32.wav", 32, math.Inf(1), [][]float64{soxLeft, soxRight}},
		{"pcm16.flac", 16, 1, [][]float64{soxLeft, soxRight}},
		{"pcm24.flac", 24, 1, [][]float64{soxLeft, soxRight}},
		{"mono24.flac", 24, 1, [][]float64{soxLeft}},
	}
	for _, tt := range tests {
		t.Run(tt.file, func(t *testing.T) {
			r, err := ReadRecording(filepath.Join(soxFiles, tt.file))
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(tt.channels, r.Samples); diff != "" {
				t.Errorf("samples (-want +got):\n%s", diff)
			}
			if r.RateHz != 48000 || r.Source.Bits != tt.bits || r.Source.Channels != len(tt.channels) ||
				r.FullScale != tt.full || r.Remarks != nil {
				t.Errorf("got %d Hz, source %v, full scale %g, remarks %q", r.RateHz, r.Source, r.FullScale, r.Remarks)
			}
		})
	}
}

func TestReadWanted(t *testing.T) {
	path := filepath.Join(soxFiles, "four16.wav") // left, right, right, left
	r, err := ReadWanted(path, Want{Channels: []int{3, 1}})
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([][]float64{soxRight, soxLeft}, r.Samples); diff != "" || r.Source.Channels != 2 {
		t.Errorf("channels 3 and 1 (-want +got):\n%s", diff)
	}
	for _, channels := range [][]int{{0}, {5}, {1, 5}, {1, 1}, {1, -1}} {
		if _, err := ReadWanted(path, Want{Channels: channels}); err == nil {
			t.Errorf("channels %v: no error", channels)
		}
	}
	for _, name := range []string{"four16.wav", "pcm16.flac"} {
		_, err := ReadWanted(filepath.Join(soxFiles, name), Want{Most: func(rateHz int) (int, error) {
			return len(soxLeft) - 1, nil
		}})
		if _, long := errors.AsType[*tooLongError](err); !long {
			t.Errorf("%s, longer by a frame: %v", name, err)
		}
	}
}

// What is damaged counts where it is wanted, and what came before it is read.
func TestReadWantedDamaged(t *testing.T) {
	path := filepath.Join(t.TempDir(), "odd.wav")
	file, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	right := append(slices.Clone(soxRight[:5]), math.NaN(), 0, 0)
	if err := EncodeRecording(file, Recording{Samples: [][]float64{soxLeft, right},
		Source: wav.Format{Encoding: wav.Float, Bits: 32, RateHz: 48000, Channels: 2}}); err != nil {
		t.Fatal(err)
	}
	file.Close()
	if r, err := ReadWanted(path, Want{Channels: []int{1}}); err != nil || r.Frames() != 8 || r.Remarks != nil {
		t.Errorf("the whole channel: %d frames, %q, %v", r.Frames(), r.Remarks, err)
	}
	r, err := ReadWanted(path, Want{Channels: []int{2}})
	if err != nil || r.Frames() != 5 || !strings.Contains(strings.Join(r.Remarks, ";"), "the 5 frames before are used") {
		t.Errorf("the damaged one: %d frames, %q, %v", r.Frames(), r.Remarks, err)
	}
}

// A few bytes can stand for any amount of silence: they are refused by their head,
// and where it is silent by what comes, before they take memory.
func TestLongSilence(t *testing.T) {
	var file bytes.Buffer
	const seconds = 1000
	silence := make([]int32, 48000)
	enc, err := flac.NewEncoder(&file, &meta.StreamInfo{BlockSizeMin: 48000, BlockSizeMax: 48000, SampleRate: 48000,
		NChannels: 2, BitsPerSample: 16})
	if err != nil {
		t.Fatal(err)
	}
	for range seconds {
		sub := func() *frame.Subframe {
			return &frame.Subframe{SubHeader: frame.SubHeader{Pred: frame.PredConstant}, Samples: silence,
				NSamples: len(silence)}
		}
		if err := enc.WriteFrame(&frame.Frame{Header: frame.Header{BlockSize: 48000, SampleRate: 48000,
			Channels: frame.ChannelsLR, BitsPerSample: 16}, Subframes: []*frame.Subframe{sub(), sub()}}); err != nil {
			t.Fatal(err)
		}
	}
	if err := enc.Close(); err != nil {
		t.Fatal(err)
	}
	claims := bytes.Clone(file.Bytes())
	// The number of frames is in the last 36 bits before the checksum of the audio
	// (RFC 9639, section 8.2).
	binary.BigEndian.PutUint32(claims[22:], seconds*48000)
	for name, data := range map[string][]byte{"that claims its length": claims, "that does not": file.Bytes()} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, err := decodeRecording(bytes.NewReader(data), int64(len(data)), Want{Most: func(rateHz int) (int, error) {
			return 10 * rateHz, nil
		}})
		runtime.ReadMemStats(&after)
		taken := (after.TotalAlloc - before.TotalAlloc) >> 20
		if _, long := errors.AsType[*tooLongError](err); !long || taken > 50 {
			t.Errorf("a file of %d bytes %s: %v, %d MiB", len(data), name, err, taken)
		}
	}
}

func TestDamagedFLAC(t *testing.T) {
	data, err := os.ReadFile(filepath.Join(soxFiles, "pcm24.flac"))
	if err != nil {
		t.Fatal(err)
	}
	flip := func(at int) []byte {
		b := append([]byte(nil), data...)
		b[at] ^= 0x10
		return b
	}
	// STREAMINFO follows the signature and a block header of 4 bytes each
	// (RFC 9639, section 8.2); the sample rate begins 10 bytes into it.
	noRate := append([]byte(nil), data...)
	noRate[18], noRate[19], noRate[20] = 0, 0, noRate[20]&0x0f
	tests := []struct {
		name, want string
		data       []byte
	}{
		{"signature alone", "ends within its header", data[:4]},
		{"cut off in its header", "ends within its header", data[:20]},
		{"without rate", "FLAC file is damaged", noRate},
		{"audio damaged", "damaged after 0 frames", flip(len(data) - 20)},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := decode(tt.data)
			if err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("error %v, want one with %q", err, tt.want)
			}
		})
	}
	_, err = ReadRecording(filepath.Join(soxFiles, "pcm32.flac"))
	if err == nil || !strings.Contains(err.Error(), "pcm32.flac: FLAC of 32 bits is not supported") {
		t.Errorf("32 bits: error %v", err)
	}
	r, err := decode(data[:len(data)-5])
	if err != nil || r.Frames() != 0 || !strings.Contains(strings.Join(r.Remarks, ";"), "cut off") {
		t.Errorf("cut off in its only block: %d frames, remarks %q, %v", r.Frames(), r.Remarks, err)
	}
}

// decode is decodeRecording of all that a file in memory holds.
func decode(b []byte) (Recording, error) {
	return decodeRecording(bytes.NewReader(b), int64(len(b)), Want{})
}

func FuzzRecording(f *testing.F) {
	for _, name := range []string{"pcm16.flac", "pcm24.flac", "mono24.flac", "pcm8.wav", "float64.wav", "piped24.wav"} {
		data, err := os.ReadFile(filepath.Join(soxFiles, name))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := decode(data)
		if err != nil {
			return
		}
		for c, s := range r.Samples {
			if len(s) != r.Frames() {
				t.Fatalf("channel %d has %d frames, channel 1 has %d", c+1, len(s), r.Frames())
			}
			for i, v := range s {
				if v-v != 0 || math.Abs(v) > r.FullScale {
					t.Fatalf("sample %d is %g with full scale %g", i, v, r.FullScale)
				}
			}
		}
	})
}
