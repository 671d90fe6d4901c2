package capture

import (
	"fmt"
	"io"
	"math"
	"path/filepath"

	"coilsweep/capture/atomicfile"
	"coilsweep/capture/flac"
)

// FLACFile is the audio of a take that is kept in less room than AudioFile takes.
const FLACFile = "capture.flac"

// Smaller writes the audio in the folder dir as FLAC beside the WAV, which it leaves, and
// returns what take.toml is to say of it. Before that the FLAC file is on the disk, was
// read again, and holds each sample of the WAV. An error says why the WAV is to stay; then
// there is no FLAC file.
func Smaller(dir string) (_ Audio, err error) {
	path := filepath.Join(dir, FLACFile)
	r, err := ReadRecording(filepath.Join(dir, AudioFile))
	if err != nil {
		return Audio{}, err
	}
	whole, err := integers(r)
	if err != nil {
		return Audio{}, err
	}
	defer func() {
		if err != nil {
			remove(path)
		}
	}()
	if err = atomicfile.Fill(path, func(w io.Writer) error { return flac.Encode(w, whole) }); err != nil {
		return Audio{}, err
	}
	for c, want := range r.Samples { // one by one: they may be long
		got, err := ReadWanted(path, Want{Channels: []int{c + 1}})
		if err == nil && (got.RateHz != r.RateHz || got.Frames() != len(want)) {
			err = fmt.Errorf("%s holds %d frames at %d Hz, not %d at %d Hz", path, got.Frames(), got.RateHz, len(want),
				r.RateHz)
		}
		if err != nil {
			return Audio{}, err
		}
		for i, s := range got.Samples[0] {
			if s != want[i] {
				return Audio{}, fmt.Errorf("%s does not give frame %d of channel %d back", path, i, c+1)
			}
		}
	}
	sum, err := ChecksumOf(path)
	if err != nil {
		return Audio{}, err
	}
	return Audio{File: FLACFile, SHA256: sum, RateHz: r.RateHz, Channels: len(r.Samples), Frames: int64(r.Frames()),
		SampleBits: whole.Bits, SamplesSHA256: whole.SamplesSum()}, nil
}

// integers are the samples of r as the integers that a converter made of them, of 16 or,
// where these are not enough, 24 bits.
func integers(r Recording) (flac.Audio, error) {
	a := flac.Audio{RateHz: r.RateHz, Bits: 16, Channels: make([][]int32, len(r.Samples))}
	for c, samples := range r.Samples {
		a.Channels[c] = make([]int32, len(samples))
		for i, s := range samples {
			x := math.Ldexp(s, 23)
			if x != math.Trunc(x) || x < -1<<23 || x >= 1<<23 {
				return a, fmt.Errorf("frame %d of channel %d is %g, which no integer of 24 bits is: sound servers, "+
					"converters of 32 bits and programs deliver such samples, and FLAC cannot hold them", i, c+1, s)
			}
			a.Channels[c][i] = int32(x)
			if a.Channels[c][i]&0xff != 0 {
				a.Bits = 24
			}
		}
	}
	if a.Bits == 16 {
		for _, samples := range a.Channels {
			for i := range samples {
				samples[i] >>= 8
			}
		}
	}
	return a, nil
}
