package plot

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"image/color"
	"image/png"
	"io"
	"math"
	"slices"

	"git.sr.ht/~sbinet/gg"
)

// imageSheet is a sheet as PNG on white.
type imageSheet struct {
	image *gg.Context
	face  *typeface
	k     float64 // pixels per px
	dpi   float64
}

func newImageSheet(a about, face *typeface) (*imageSheet, error) {
	k := a.dpi / 25.4 * a.mmPerPx
	width, height := math.Ceil(k*a.width-1e-6), math.Ceil(k*a.height-1e-6)
	if width*height > maxImagePixel {
		return nil, fmt.Errorf("an image of %.0f × %.0f pixels is too large: use a lower resolution, or PDF or SVG",
			width, height)
	}
	s := &imageSheet{image: gg.NewContext(int(width), int(height)), face: face, k: k, dpi: a.dpi}
	s.image.SetColor(color.White)
	s.image.Clear()
	s.image.SetLineJoinRound()
	return s, nil
}

func (s *imageSheet) path(o outline) {
	s.image.ClearPath()
	o.placed(s.k, point{}).draw(s.image, s.image.CubicTo)
}

func withOpacity(c color.NRGBA, opacity float64) color.NRGBA {
	c.A = uint8(math.Round(255 * opacity))
	return c
}

func (s *imageSheet) fill(o outline, c color.NRGBA, opacity float64) {
	s.image.SetColor(withOpacity(c, opacity))
	s.path(o)
	s.image.Fill()
}

func (s *imageSheet) stroke(o outline, c color.NRGBA, p pen) {
	s.image.SetColor(withOpacity(c, p.opacity))
	s.image.SetLineWidth(s.k * p.width)
	s.image.SetLineCapButt()
	if p.round {
		s.image.SetLineCapRound()
	}
	dash := make([]float64, len(p.dash))
	for i, length := range p.dash {
		dash[i] = s.k * length
	}
	s.image.SetDash(dash...)
	s.path(o)
	s.image.Stroke()
}

func (s *imageSheet) text(at point, t string, c color.NRGBA) {
	s.fill(s.face.outlines(t).placed(1, at), c, 1)
}

func (s *imageSheet) clip(b box) {
	s.image.DrawRectangle(s.k*b.left, s.k*b.top, s.k*(b.right-b.left), s.k*(b.bottom-b.top))
	s.image.Clip()
}

func (s *imageSheet) unclip() { s.image.ResetClip() }

func (s *imageSheet) writeTo(w io.Writer) error {
	var b bytes.Buffer
	if err := png.Encode(&b, s.image.Image()); err != nil {
		return err
	}
	perMetre := uint32(math.Round(s.dpi / 0.0254))
	resolution := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, perMetre), perMetre)
	file := withChunk(b.Bytes(), "pHYs", append(resolution, 1)) // pixels per m
	_, err := w.Write(withChunk(file, "tEXt", []byte("Software\x00coilsweep")))
	return err
}

// withChunk puts a chunk behind the header of a PNG file (ISO/IEC 15948, 5.3 and 11.3):
// signature and IHDR are 33 bytes.
func withChunk(file []byte, kind string, data []byte) []byte {
	const header = 8 + 25
	chunk := binary.BigEndian.AppendUint32(nil, uint32(len(data)))
	chunk = append(append(chunk, kind...), data...)
	chunk = binary.BigEndian.AppendUint32(chunk, crc32.ChecksumIEEE(chunk[4:]))
	return slices.Concat(file[:header], chunk, file[header:])
}
