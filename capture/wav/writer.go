package wav

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
)

// ErrTooLong is returned for audio that would pass the 4 GiB of a plain WAV file.
var ErrTooLong = errors.New("the recording would pass 4 GiB, the most a WAV file holds")

// File is what a Writer writes to; *os.File is one.
type File interface {
	io.Writer
	io.WriterAt
	Sync() error
}

// Writer writes a WAVE file while it is being recorded. The header stands from
// the first moment and its sizes follow every tenth of a second, so that what
// a crash leaves can be read, by any program.
type Writer struct {
	format Format
	file   File
	header int   // bytes before the audio
	fact   int   // where the fact chunk has the frames; 0: there is none
	info   int   // where the texts are
	texts  int   // and how many bytes they take
	bytes  int64 // of audio, written
	stated int64 // of audio, in the header
	buf    []byte
	err    error
}

// NewWriter writes the header of a file of the given format, with texts about
// it, to the start of file, which must be empty and not opened for appending.
func NewWriter(file File, format Format, about Info) (*Writer, error) {
	if err := format.check(); err != nil {
		return nil, fmt.Errorf("wav: cannot write %w", err)
	}
	h := encodeHeader(format)
	w := &Writer{format: format, file: file}
	if i := bytes.Index(h, []byte("fact\x04")); i > 0 {
		w.fact = i + 8
	}
	// Before the audio, since that grows.
	texts := about.encode()
	w.info, w.texts = len(h)-8, len(texts)
	h = slices.Insert(h, w.info, texts...)
	w.header = len(h)
	binary.LittleEndian.PutUint32(h[4:], uint32(len(h)-8))
	if _, err := file.Write(h); err != nil {
		return nil, err
	}
	return w, nil
}

// Retell puts other texts of the same length in place of those of the header.
func (w *Writer) Retell(about Info) error {
	texts := about.encode()
	if len(texts) != w.texts {
		return fmt.Errorf("wav: texts of %d bytes do not fit in place of %d", len(texts), w.texts)
	}
	_, err := w.file.WriteAt(texts, int64(w.info))
	return err
}

// encodeHeader is the header of a file without audio. Integers over 16 bits
// and more than two channels want the extensible form; all but plain integers
// want a fact chunk with the number of frames [1].
func encodeHeader(f Format) []byte {
	le := binary.LittleEndian
	extensible := f.Encoding == PCM && f.Bits > 16 || f.Channels > 2
	plain := f.Encoding == PCM && !extensible
	tag, size := uint16(f.Encoding), uint32(16)
	if extensible {
		tag, size = tagExtensible, 40
	} else if !plain {
		size = 18
	}
	b := append(make([]byte, 0, 80), "RIFF\x00\x00\x00\x00WAVEfmt "...)
	b = le.AppendUint32(b, size)
	b = le.AppendUint16(b, tag)
	b = le.AppendUint16(b, uint16(f.Channels))
	b = le.AppendUint32(b, uint32(f.RateHz))
	b = le.AppendUint32(b, uint32(f.RateHz*f.FrameBytes()))
	b = le.AppendUint16(b, uint16(f.FrameBytes()))
	b = le.AppendUint16(b, uint16(f.Bits))
	if extensible {
		// Speakers: the centre for one channel, left and right for two, none beyond.
		mask := map[int]uint32{1: 4, 2: 3}[f.Channels]
		b = le.AppendUint16(b, 22)
		b = le.AppendUint16(b, uint16(f.Bits))
		b = le.AppendUint32(b, mask)
		b = le.AppendUint16(b, uint16(f.Encoding))
		b = append(b, guidTail...)
	} else if !plain {
		b = le.AppendUint16(b, 0)
	}
	if !plain {
		b = append(b, "fact\x04\x00\x00\x00\x00\x00\x00\x00"...)
	}
	return append(b, "data\x00\x00\x00\x00"...)
}

// Frames is the number of whole frames written.
func (w *Writer) Frames() int64 { return w.bytes / int64(w.format.FrameBytes()) }

// WriteFloat32 appends interleaved samples, full scale ±1. Integers are
// rounded to nearest and held at the rails.
func (w *Writer) WriteFloat32(samples []float32) error {
	return writeSamples(w, samples)
}

// WriteFloat64 is WriteFloat32 for float64.
func (w *Writer) WriteFloat64(samples []float64) error {
	return writeSamples(w, samples)
}

func writeSamples[T float32 | float64](w *Writer, samples []T) error {
	if len(samples)%w.format.Channels != 0 {
		return fmt.Errorf("wav: %d samples are not whole frames of %d channels", len(samples), w.format.Channels)
	}
	w.buf = w.buf[:0]
	for _, s := range samples {
		w.buf = appendSample(w.buf, float64(s), w.format)
	}
	_, err := w.Write(w.buf)
	return err
}

func appendSample(b []byte, s float64, f Format) []byte {
	le := binary.LittleEndian
	if f.Encoding == Float {
		if f.Bits == 32 {
			return le.AppendUint32(b, math.Float32bits(float32(s)))
		}
		return le.AppendUint64(b, math.Float64bits(s))
	}
	full := float64(int64(1) << (f.Bits - 1))
	v := int64(max(-full, min(math.Round(s*full), full-1)))
	switch f.Bits {
	case 8:
		return append(b, byte(v+128))
	case 16:
		return le.AppendUint16(b, uint16(v))
	case 24:
		return append(b, byte(v), byte(v>>8), byte(v>>16))
	default:
		return le.AppendUint32(b, uint32(v))
	}
}

// Write appends frames that are already coded as the file's format says.
func (w *Writer) Write(p []byte) (int, error) {
	if w.err != nil {
		return 0, w.err
	}
	if w.bytes+int64(len(p)) > math.MaxUint32-int64(w.header) {
		return 0, ErrTooLong
	}
	n, err := w.file.Write(p)
	w.bytes += int64(n)
	if err != nil {
		w.err = err
		return n, err
	}
	if tenth := int64(w.format.RateHz/10) * int64(w.format.FrameBytes()); w.bytes-w.stated >= tenth {
		return n, w.stateSizes()
	}
	return n, nil
}

// stateSizes brings the sizes in the header up to the whole frames written.
// It adds no bytes to the file, so that it works on a full disk.
func (w *Writer) stateSizes() error {
	frames := w.Frames()
	audio := frames * int64(w.format.FrameBytes())
	var b [4]byte
	put := func(at int, v int64) error {
		binary.LittleEndian.PutUint32(b[:], uint32(v))
		_, err := w.file.WriteAt(b[:], int64(at))
		return err
	}
	// The size of the audio goes last: a reader trusts it, so that it must not
	// run ahead of the rest.
	err := put(4, int64(w.header)-8+audio+audio&1)
	if err == nil && w.fact > 0 {
		err = put(w.fact, frames)
	}
	if err == nil {
		err = put(w.header-4, audio)
	}
	if err == nil {
		w.stated = audio
	}
	return err
}

// Close brings the header up to date, pads and syncs the file. The file stays
// open: closing it is the caller's. After a failed write Close still leaves a
// readable file with all whole frames, and returns nil if that worked.
func (w *Writer) Close() error {
	if w.err == nil && w.bytes&1 == 1 {
		if _, err := w.file.Write([]byte{0}); err != nil {
			w.err = err
		}
	}
	return errors.Join(w.stateSizes(), w.file.Sync())
}
