// Package guide holds the drawings and the text of the guide to the bench.
package guide

import "embed"

// Files are guide.md and the drawings that it shows.
//
//go:embed *.md *.svg
var Files embed.FS
