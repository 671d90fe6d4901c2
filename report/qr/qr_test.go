package qr

import (
	"fmt"
	"image"
	"image/color"
	"regexp"
	"strings"
	"testing"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"
)

// read is what a reader of another project sees in modules, each of them some pixels.
func read(t *testing.T, size int, dark func(x, y int) bool) string {
	t.Helper()
	const pixels = 6
	picture := image.NewGray(image.Rect(0, 0, size*pixels, size*pixels))
	for y := range size * pixels {
		for x := range size * pixels {
			if !dark(x/pixels, y/pixels) {
				picture.SetGray(x, y, color.Gray{Y: 255})
			}
		}
	}
	bits, err := gozxing.NewBinaryBitmapFromImage(picture)
	if err != nil {
		t.Fatal(err)
	}
	found, err := qrcode.NewQRCodeReader().Decode(bits, nil)
	if err != nil {
		t.Fatal(err)
	}
	return found.GetText()
}

// What is drawn can be read by a program that shares nothing with what draws it.
func TestRead(t *testing.T) {
	for _, text := range []string{
		"http://192.168.1.20:8137/#key=ehs3v5tqq2m4xk7n6w3ydgjx4a",
		"Bridge, first winding\n2026-11-28\nL 2.412 H\nC 108 pF\nR 7.85 kΩ\nresonance 8.06 kHz\nQ 3.92",
		strings.Repeat("a long note ", 60),
	} {
		svg, err := SVG(text, `a <"label">`)
		if err != nil || strings.Contains(svg, `<"`) {
			t.Fatalf("%v: %.100s", err, svg)
		}
		var n int
		fmt.Sscanf(svg[strings.Index(svg, "viewBox"):], `viewBox="0 0 %d`, &n)
		dark := map[[2]int]bool{}
		for _, m := range regexp.MustCompile(`M(\d+) (\d+)h(\d+)v1`).FindAllStringSubmatch(svg, -1) {
			var x, y, w int
			fmt.Sscan(strings.Join(m[1:], " "), &x, &y, &w)
			for i := range w {
				dark[[2]int{x + i, y}] = true
			}
		}
		if got := read(t, n, func(x, y int) bool { return dark[[2]int{x, y}] }); got != text {
			t.Errorf("the drawing reads %q, want %q", got, text)
		}
		lines, err := Terminal(text)
		if err != nil {
			t.Fatal(err)
		}
		rows := [][]rune{}
		for line := range strings.Lines(lines) {
			line = strings.TrimSuffix(strings.TrimPrefix(strings.TrimSpace(line), "\x1b[30;107m"), "\x1b[0m")
			rows = append(rows, []rune(line))
		}
		if got := read(t, n, func(x, y int) bool {
			c := rows[y/2][x]
			return c == '█' || c == '▀' && y%2 == 0 || c == '▄' && y%2 == 1
		}); got != text {
			t.Errorf("the terminal reads %q, want %q", got, text)
		}
	}
	if _, err := SVG(strings.Repeat("x", 5000), ""); err == nil {
		t.Error("5000 bytes are drawn")
	}
}
