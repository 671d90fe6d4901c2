package wav

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
)

// ErrNotWAV is wrapped by the error for bytes that are not a WAVE file at all.
var ErrNotWAV = errors.New("not a WAV file")

// maxChunks bounds the walk through a hostile file of many small chunks.
const maxChunks = 10000

// Reader reads one WAVE file.
type Reader struct {
	Format Format
	Frames int64 // whole frames that are really there
	Info   Info  // texts that stand before the audio
	// Remarks says what was wrong with the file and how it was read all the same.
	Remarks []string

	r    io.ReaderAt
	data int64 // offset of the first frame
}

// NewReader reads the header of the file in the first size bytes of r. It
// takes neither time nor memory in proportion to what the header claims. The
// error wraps ErrNotWAV where r holds something else.
func NewReader(r io.ReaderAt, size int64) (*Reader, error) {
	head := make([]byte, 12)
	if size < 12 {
		return nil, fmt.Errorf("%w: only %d bytes long", ErrNotWAV, size)
	}
	if err := readAt(r, head, 0); err != nil {
		return nil, err
	}
	riff := string(head[:4])
	if riff == "RIFX" {
		return nil, errors.New("a big-endian WAV file (RIFX) is not supported: save it as plain WAV")
	}
	if riff != "RIFF" && riff != "RF64" && riff != "BW64" || string(head[8:]) != "WAVE" {
		return nil, fmt.Errorf("%w: it starts with %q", ErrNotWAV, head)
	}
	w := &Reader{r: r}
	riffEnd := int64(binary.LittleEndian.Uint32(head[4:])) + 8
	size64 := int64(0) // data size of a ds64 chunk
	haveFormat := false
	chunk := make([]byte, 8+40)
	for pos, n := int64(12), 0; ; n++ {
		if n == maxChunks {
			return nil, fmt.Errorf("no audio within the first %d chunks: not a usable WAV file", maxChunks)
		}
		if size-pos < 8 {
			return nil, errors.New("the file has no audio in it (no data chunk): it was cut off or never finished")
		}
		c := chunk[:min(int64(len(chunk)), size-pos)]
		if err := readAt(r, c, pos); err != nil {
			return nil, err
		}
		id, claimed := string(c[:4]), int64(binary.LittleEndian.Uint32(c[4:]))
		body := c[8:]
		pos += 8
		switch id {
		case "ds64":
			if len(body) < 16 || claimed < 16 {
				return nil, errors.New("the ds64 chunk is cut off: the file is damaged")
			}
			riffEnd = clampInt64(binary.LittleEndian.Uint64(body)) + 8
			size64 = clampInt64(binary.LittleEndian.Uint64(body[8:]))
		case "fmt ":
			if claimed > size-pos {
				return nil, fmt.Errorf("the format chunk claims %d bytes where %d follow: the file is damaged", claimed,
					size-pos)
			}
			f, err := parseFormat(body[:min(claimed, int64(len(body)))])
			if err != nil {
				return nil, err
			}
			w.Format, haveFormat = f, true
		case "LIST":
			text := make([]byte, max(0, min(claimed, maxInfo, size-pos)))
			if err := readAt(r, text, pos); err != nil {
				return nil, err
			}
			w.Info.decode(text)
		case "data":
			if !haveFormat {
				return nil, errors.New("the audio comes before its format: the file is damaged")
			}
			if claimed == math.MaxUint32 && size64 > 0 {
				claimed = size64
			}
			w.data = pos
			w.setFrames(claimed, size, riffEnd)
			return w, nil
		}
		pos += claimed + claimed&1
		if pos > size {
			return nil, fmt.Errorf("the chunk %q claims %d bytes, more than the file has: no audio before it", id,
				claimed)
		}
	}
}

// setFrames decides how much of the file behind the data header is audio.
func (w *Reader) setFrames(claimed, size, riffEnd int64) {
	there := size - w.data
	bytes := claimed
	switch {
	// A recorder that never came to fill in its sizes leaves 0 or all ones. A
	// data chunk that is truly empty agrees with the size of the whole.
	case claimed == math.MaxUint32, claimed == 0 && there > 1 && riffEnd != size:
		bytes = there
		w.remark("the size of the audio was never filled in: read to the end of the file")
	case claimed > there:
		bytes = there
		w.remark("the header claims %d bytes of audio, %d are there: the file was cut off or its size is wrong; read "+
			"to the end of the file", claimed, there)
	}
	frame := int64(w.Format.FrameBytes())
	w.Frames = bytes / frame
	if odd := bytes % frame; odd != 0 {
		w.remark("the last frame is incomplete (%d of %d bytes): left out", odd, frame)
	}
	// Bytes behind the audio that are not a chunk are audio that a recorder wrote
	// after it last brought its sizes up to date, or some other program's
	// additions. They are not guessed at.
	end := w.data + bytes + bytes&1
	if left := size - end; left >= 8 && !w.chunkAt(end, size) {
		w.remark("%d bytes after the audio belong to no chunk: left out", left)
	}
}

func (w *Reader) remark(format string, args ...any) {
	w.Remarks = append(w.Remarks, fmt.Sprintf(format, args...))
}

// chunkAt reports whether what stands at pos looks like a chunk.
func (w *Reader) chunkAt(pos, size int64) bool {
	var head [8]byte
	odd := func(c byte) bool { return c < ' ' || c > '~' }
	if readAt(w.r, head[:], pos) != nil || slices.ContainsFunc(head[:4], odd) {
		return false
	}
	return pos+8+int64(binary.LittleEndian.Uint32(head[4:])) <= size
}

func parseFormat(b []byte) (Format, error) {
	if len(b) < 16 {
		return Format{}, fmt.Errorf("the format chunk has %d bytes, want at least 16: the file is damaged", len(b))
	}
	le := binary.LittleEndian
	tag := le.Uint16(b)
	f := Format{
		Encoding: Encoding(tag),
		Channels: int(le.Uint16(b[2:])),
		RateHz:   int(le.Uint32(b[4:])),
	}
	block, bits := int(le.Uint16(b[12:])), int(le.Uint16(b[14:]))
	if tag == tagExtensible {
		if len(b) < 40 || string(b[26:40]) != guidTail {
			return Format{}, errors.New("the extensible header names no known sample format: save the recording as " +
				"PCM or float WAV")
		}
		f.Encoding = Encoding(le.Uint16(b[24:]))
	}
	if f.Encoding != PCM && f.Encoding != Float {
		return Format{}, fmt.Errorf("the samples are compressed (format tag 0x%04x): save the recording as PCM or "+
			"float WAV", uint16(f.Encoding))
	}
	if f.Channels == 0 {
		return Format{}, errors.New("the header says 0 channels: the file is damaged")
	}
	// Samples of other widths lie in the upper bits of whole bytes [1], so
	// that the container decides.
	if block == 0 || block%f.Channels != 0 || bits < 1 || (bits+7)/8 > block/f.Channels {
		return Format{}, fmt.Errorf("the header contradicts itself: %d channels of %d bits in frames of %d bytes",
			f.Channels, bits, block)
	}
	f.Bits = block / f.Channels * 8
	if f.Encoding == Float && bits != f.Bits {
		return Format{}, fmt.Errorf("the header contradicts itself: %d-bit floats in %d bits", bits, f.Bits)
	}
	if err := f.check(); err != nil {
		return Format{}, fmt.Errorf("the header says %w", err)
	}
	return f, nil
}

// Data reads the bytes of all whole frames as they stand in the file.
func (w *Reader) Data() *io.SectionReader {
	return io.NewSectionReader(w.r, w.data, w.Frames*int64(w.Format.FrameBytes()))
}

// Samples reads all frames of some channels, which count from 0, or of all where none is
// named: Samples(1, 0)[0][frame] is of channel 1, full scale ±1. Its memory is 8 bytes for
// each such sample that is really in the file.
func (w *Reader) Samples(read ...int) ([][]float64, error) {
	for c := 0; len(read) < w.Format.Channels && c == len(read); c++ {
		read = append(read, c)
	}
	out := make([][]float64, len(read))
	for c := range out {
		out[c] = make([]float64, w.Frames)
	}
	frame := w.Format.FrameBytes()
	buf := make([]byte, max(1, 1<<18/frame)*frame)
	data := w.Data()
	for at := int64(0); at < w.Frames; {
		n := min(int64(len(buf)/frame), w.Frames-at)
		b := buf[:n*int64(frame)]
		if _, err := io.ReadFull(data, b); err != nil {
			return nil, fmt.Errorf("reading audio: %w", err)
		}
		for i, c := range read {
			decode(out[i][at:at+n], b[c*w.Format.Bits/8:], frame, w.Format)
		}
		at += n
	}
	return out, nil
}

// decode reads the samples of one channel, which stand stride bytes apart.
func decode(dst []float64, b []byte, stride int, f Format) {
	le := binary.LittleEndian
	switch {
	case f.Encoding == Float && f.Bits == 32:
		for i := range dst {
			dst[i] = float64(math.Float32frombits(le.Uint32(b[i*stride:])))
		}
	case f.Encoding == Float:
		for i := range dst {
			dst[i] = math.Float64frombits(le.Uint64(b[i*stride:]))
		}
	case f.Bits == 8:
		for i := range dst {
			dst[i] = (float64(b[i*stride]) - 128) / (1 << 7)
		}
	case f.Bits == 16:
		for i := range dst {
			dst[i] = float64(int16(le.Uint16(b[i*stride:]))) / (1 << 15)
		}
	case f.Bits == 24:
		for i := range dst {
			s := b[i*stride : i*stride+3]
			v := int32(uint32(s[0])<<8|uint32(s[1])<<16|uint32(s[2])<<24) >> 8
			dst[i] = float64(v) / (1 << 23)
		}
	default:
		for i := range dst {
			dst[i] = float64(int32(le.Uint32(b[i*stride:]))) / (1 << 31)
		}
	}
}

// readAt fills b. An end of file within size is the file's fault: it shrank.
func readAt(r io.ReaderAt, b []byte, pos int64) error {
	n, err := r.ReadAt(b, pos)
	if n == len(b) {
		return nil
	}
	if err == nil || err == io.EOF {
		err = io.ErrUnexpectedEOF
	}
	return fmt.Errorf("reading the header: %w", err)
}

func clampInt64(v uint64) int64 {
	// Leaves room for the additions that follow.
	return int64(min(v, math.MaxInt64/2))
}
