// Package wav reads and writes WAVE files as sound cards, recorders and
// editors really leave them: integer samples of 8 to 32 bits, floating point
// of 32 and 64 bits, plain and extensible headers, any number of channels,
// files over 4 GiB, unknown chunks anywhere, and files whose sizes were never
// filled in.
//
// All numbers are little-endian. A file is RIFF (or RF64, BW64), a 32-bit
// size, WAVE, then chunks: a four-letter name, a 32-bit size, that many bytes,
// padded to an even length [1]. Integer samples of N bits stand for themselves
// divided by 2^(N-1), so that full scale is ±1; those of up to 8 bits are
// unsigned with zero at 128, all others signed.
//
// References:
//
//	[1] Multimedia Programming Interface and Data Specifications 1.0, IBM and
//	    Microsoft, 1991; extensible headers: mmreg.h, WAVEFORMATEXTENSIBLE.
//	[2] EBU Tech 3306 (RF64) and ITU-R BS.2088 (BW64): the ds64 chunk.
package wav

import (
	"fmt"
	"slices"
)

// Encoding is how a sample is coded.
type Encoding uint16

// The encodings; their values are the format tags of [1].
const (
	PCM   Encoding = 1
	Float Encoding = 3
)

const tagExtensible = 0xFFFE

// guidTail is what follows the format tag in the sub-format of an extensible
// header.
const guidTail = "\x00\x00\x00\x00\x10\x00\x80\x00\x00\xaa\x00\x38\x9b\x71"

// Format is the shape of the audio in a file.
type Format struct {
	Encoding Encoding
	Bits     int // size of a sample in the file: PCM 8, 16, 24, 32; Float 32, 64
	RateHz   int
	Channels int
}

// FrameBytes is the size of one frame, a sample of each channel.
func (f Format) FrameBytes() int { return f.Channels * f.Bits / 8 }

func (f Format) check() error {
	switch {
	case f.Channels < 1 || f.Channels > 0xFFFF:
		return fmt.Errorf("%d channels: want 1 to 65535", f.Channels)
	case f.RateHz < 1 || int64(f.RateHz) > 0xFFFFFFFF:
		return fmt.Errorf("a sample rate of %d Hz: want 1 or more", f.RateHz)
	}
	if slices.Contains(map[Encoding][]int{PCM: {8, 16, 24, 32}, Float: {32, 64}}[f.Encoding], f.Bits) {
		return nil
	}
	return fmt.Errorf("samples of format %d with %d bits: want integers of 8, 16, 24, 32 or floats of 32, 64 bits", f.Encoding, f.Bits)
}
