package capture

import (
	"errors"
	"fmt"
	"io"
	"math"

	"github.com/mewkiz/flac"

	"coilsweep/capture/wav"
)

// decodeFLAC reads what is wanted of a FLAC file (RFC 9639) of up to 24 bits: some bytes
// of it can stand for any amount of silence. What the decoding library panics on is a
// damaged file. See decodeRecording for damage.
func decodeFLAC(r io.Reader, want Want) (rec Recording, err error) {
	frames := 0
	defer func() {
		if p := recover(); p != nil {
			rec, err = rec.upTo(frames), &damageError{fmt.Errorf("the FLAC file is damaged after %d frames: %v", frames,
				p)}
		}
	}()
	stream, err := flac.New(r)
	if err != nil {
		return Recording{}, fmt.Errorf("the FLAC file is damaged: %w", whole(err))
	}
	info := stream.Info
	if info.BitsPerSample > 24 { // the library keeps differences of channels in 32 bits
		return Recording{}, fmt.Errorf("FLAC of %d bits is not supported: save the recording as WAV",
			info.BitsPerSample)
	}
	channels, bits := int(info.NChannels), int(info.BitsPerSample)
	claimed := int64(min(info.NSamples, math.MaxInt64))
	read, most, err := want.of(int(info.SampleRate), channels, claimed)
	if err != nil {
		return Recording{}, err
	}
	rec = Recording{
		RateHz:    int(info.SampleRate),
		Samples:   make([][]float64, len(read)),
		FullScale: 1,
		Source: wav.Format{Encoding: wav.PCM, Bits: (bits + 7) / 8 * 8, RateHz: int(info.SampleRate),
			Channels: len(read)},
	}
	for i := range rec.Samples {
		rec.Samples[i] = make([]float64, 0, claimed)
	}
	scale := 1 / float64(int64(1)<<(bits-1))
	for {
		f, err := stream.Next()
		if err == io.EOF {
			break
		}
		if err == nil {
			// A header may leave these to the stream.
			if f.BitsPerSample == 0 {
				f.BitsPerSample = info.BitsPerSample
			}
			if int(f.BitsPerSample) != bits || f.Channels.Count() != channels || f.SampleRate != 0 &&
				f.SampleRate != info.SampleRate {
				return Recording{}, fmt.Errorf("the FLAC file changes its format after %d frames: save it as WAV",
					frames)
			}
			err = f.Parse()
		}
		if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) {
			rec.Remarks = append(rec.Remarks, fmt.Sprintf("the file was cut off: %d whole frames read", frames))
			return rec, nil
		}
		if err != nil {
			return rec, &damageError{fmt.Errorf("the FLAC file is damaged after %d frames: %w", frames, err)}
		}
		if frames+int(f.BlockSize) > most {
			return Recording{}, &tooLongError{float64(most) / float64(info.SampleRate)}
		}
		for i, c := range read {
			sub := f.Subframes[c]
			if len(sub.Samples) != int(f.BlockSize) {
				return rec.upTo(frames), &damageError{fmt.Errorf(
					"the FLAC file is damaged after %d frames: a block of %d has %d samples", frames, f.BlockSize,
					len(sub.Samples))}
			}
			for _, s := range sub.Samples {
				rec.Samples[i] = append(rec.Samples[i], float64(s)*scale)
			}
		}
		frames += int(f.BlockSize)
	}
	if want := info.NSamples; want != 0 && want != uint64(frames) {
		rec.Remarks = append(rec.Remarks, fmt.Sprintf("the header claims %d frames, %d are there", want, frames))
	}
	return rec, nil
}

// whole turns a bare end of file, which says nothing to a user, into words.
func whole(err error) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return errors.New("it ends within its header")
	}
	return err
}
