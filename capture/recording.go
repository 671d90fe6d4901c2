package capture

import (
	"errors"
	"fmt"
	"io"
	"math"
	"slices"

	"coilsweep/capture/atomicfile"
	"coilsweep/capture/wav"
)

// maxRecordingSamples bounds the memory of one recording to 1 GiB: twice the longest
// stimulus in stereo.
const maxRecordingSamples = 1 << 27

// Recording is audio in memory.
type Recording struct {
	RateHz int
	// Samples[channel][frame], full scale ±1.
	Samples [][]float64
	// FullScale is the largest magnitude the file's format can hold; 1 for
	// integer formats, +Inf for floating point.
	FullScale float64
	// Source is a WAV format that holds the samples without loss: that of the
	// file, or for FLAC the next wider one.
	Source wav.Format
	// Info are the texts in a WAV file about it.
	Info wav.Info
	// Remarks says what was odd about the file and was mended in reading
	// ("size field not set: read to the end of the file").
	Remarks []string
}

// Frames is the length of the recording in frames.
func (r Recording) Frames() int {
	if len(r.Samples) == 0 {
		return 0
	}
	return len(r.Samples[0])
}

// Want is what is read of a recording.
type Want struct {
	// Channels are the only ones that are read, in this order, from 1 as on sound
	// cards; nil: all.
	Channels []int
	// Most is how many frames are read at most of a recording at rateHz, asked before
	// any is read: a longer one is an error, as is one of Most. nil: what fits into
	// maxRecordingSamples.
	Most func(rateHz int) (frames int, err error)
}

// of a recording as its head has it: the channels that are read, from 0, and the most
// frames. frames are those that the head claims; 0: it does not say.
func (w Want) of(rateHz, channels int, frames int64) (read []int, most int, err error) {
	for c := range channels {
		read = append(read, c)
	}
	if w.Channels != nil {
		read = nil
	}
	for i, n := range w.Channels {
		switch {
		case n < 1 || n > channels:
			return nil, 0, fmt.Errorf("channel %d asked for, but the recording has %s", n, ChannelCount(channels))
		case slices.Contains(w.Channels[:i], n):
			return nil, 0, fmt.Errorf("coil and reference are both said to be on channel %d", n)
		}
		read = append(read, n-1)
	}
	most = maxRecordingSamples / max(len(read), 1)
	if w.Most != nil {
		frames, err := w.Most(rateHz)
		if err != nil {
			return nil, 0, err
		}
		most = min(most, frames)
	}
	if frames > int64(most) {
		return nil, 0, &tooLongError{float64(most) / float64(rateHz)}
	}
	return read, most, nil
}

// tooLongError is a recording that is not read because of its length.
type tooLongError struct{ mostS float64 }

func (e *tooLongError) Error() string {
	return fmt.Sprintf("the recording is longer than %.0f s, the most that is read of it: cut it to the part with the "+
		"stimulus", e.mostS)
}

func ChannelCount(n int) string {
	if n == 1 {
		return "1 channel"
	}
	return fmt.Sprintf("%d channels", n)
}

// ReadRecording is ReadWanted of all that a file holds.
func ReadRecording(path string) (Recording, error) { return ReadWanted(path, Want{}) }

// ReadWanted reads what is wanted of a WAV or FLAC file, told apart by content. Damage
// that leaves whole frames is mended and remarked: what is before it is read. The rest
// is an error that names the file.
func ReadWanted(path string, want Want) (Recording, error) {
	f, size, err := atomicfile.Open(path)
	if errors.Is(err, atomicfile.ErrNotPlain) {
		return Recording{}, fmt.Errorf("%s is not a plain file: name a WAV or FLAC recording", path)
	} else if err != nil {
		return Recording{}, fmt.Errorf("cannot read the recording: %w", err)
	}
	defer f.Close()
	r, err := decodeRecording(f, size, want)
	if _, damaged := errors.AsType[*damageError](err); damaged && r.Frames() > 0 {
		r.Remarks, err = append(r.Remarks, fmt.Sprintf("%v; the %d frames before are used", err, r.Frames())), nil
	}
	if err != nil {
		return Recording{}, fmt.Errorf("%s: %w", path, err)
	}
	return r, nil
}

// damageError says why a recording cannot be read to its end; what is before can.
type damageError struct{ err error }

func (e *damageError) Error() string { return e.err.Error() }
func (e *damageError) Unwrap() error { return e.err }

// upTo is r without what follows so many frames.
func (r Recording) upTo(frames int) Recording {
	samples := make([][]float64, len(r.Samples))
	for c, x := range r.Samples {
		samples[c] = x[:frames]
	}
	r.Samples = samples
	return r
}

// decodeRecording reads what is wanted of the recording in the first size bytes of r.
// Beside a *damageError it returns what comes before the damage.
func decodeRecording(r io.ReaderAt, size int64, want Want) (Recording, error) {
	if size == 0 {
		return Recording{}, errors.New("the file is empty: record again")
	}
	var head [4]byte
	n, err := r.ReadAt(head[:], 0)
	if n < len(head) && err != io.EOF {
		return Recording{}, err
	}
	var rec Recording
	// Some programs put a tag (ID3) before the FLAC signature.
	if string(head[:]) == "fLaC" || string(head[:3]) == "ID3" {
		rec, err = decodeFLAC(io.NewSectionReader(r, 0, size), want)
	} else {
		rec, err = decodeWAV(r, size, want)
	}
	if err != nil {
		return rec, err
	}
	if at, err := rec.firstOdd(); err != nil {
		return rec.upTo(at), &damageError{err}
	}
	return rec, nil
}

func decodeWAV(r io.ReaderAt, size int64, want Want) (Recording, error) {
	w, err := wav.NewReader(r, size)
	if errors.Is(err, wav.ErrNotWAV) {
		return Recording{}, fmt.Errorf("neither a WAV nor a FLAC file: save the recording as one of them (%w)", err)
	} else if err != nil {
		return Recording{}, err
	}
	rec := Recording{RateHz: w.Format.RateHz, FullScale: 1, Source: w.Format, Info: w.Info, Remarks: w.Remarks}
	read, _, err := want.of(rec.RateHz, w.Format.Channels, w.Frames)
	if err != nil {
		return Recording{}, err
	}
	if w.Format.Encoding == wav.Float {
		rec.FullScale = math.Inf(1)
	}
	rec.Source.Channels = len(read)
	rec.Samples, err = w.Samples(read...)
	return rec, err
}

// CheckNumbers refuses floating-point recordings with samples that are no
// numbers: there is no honest value to put in their place.
func (r Recording) CheckNumbers() error {
	_, err := r.firstOdd()
	return err
}

// firstOdd is the first frame with a sample that is no number, and the error about it.
func (r Recording) firstOdd() (frame int, err error) {
	frame = r.Frames()
	if !math.IsInf(r.FullScale, 1) {
		return frame, nil
	}
	for c, samples := range r.Samples {
		for i, s := range samples[:frame] {
			if s-s != 0 { // infinite or not a number
				frame = i
				err = fmt.Errorf("channel %d holds %g at frame %d, which is not a sample: the file is damaged", c+1, s,
					i)
				break
			}
		}
	}
	return frame, err
}

// EncodeRecording writes r as a WAV file of its Source format, without loss, with its texts.
func EncodeRecording(file wav.File, r Recording) error {
	w, err := wav.NewWriter(file, r.Source, r.Info)
	if err != nil {
		return err
	}
	const blockFrames = 8192
	block := make([]float64, 0, blockFrames*len(r.Samples))
	for at := 0; at < r.Frames(); at += blockFrames {
		block = block[:0]
		for i := at; i < min(at+blockFrames, r.Frames()); i++ {
			for _, c := range r.Samples {
				block = append(block, c[i])
			}
		}
		if err := w.WriteFloat64(block); err != nil {
			return err
		}
	}
	return w.Close()
}
