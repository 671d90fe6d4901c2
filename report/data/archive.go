package data

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"time"

	"coilsweep/capture"
	"coilsweep/fit"
)

// Archive is what a publication about a coil needs, for one ZIP file: the
// numbers, the curves as response.csv, the fitted circuit as a netlist, what was
// measured and how, a description of the format, checksums, and, if asked for,
// the audio.
type Archive struct {
	Result fit.Result // with curves
	Takes  []capture.Take
	// Open opens a file of the coil folder by its path with slashes:
	// "coil.toml", "takes/NAME/take.toml", "takes/NAME/capture.wav".
	Open  func(path string) (io.ReadCloser, error)
	Audio bool // the takes' audio too
	// Program that makes the archive, with its version.
	Program string
}

// WriteArchive writes the archive. The same contents give the same bytes: files carry
// the time of the latest take.
func WriteArchive(w io.Writer, c Archive) error {
	p := packer{zip: zip.NewWriter(w), at: latest(c.Takes)}
	netlist, withoutNetlist := Netlist(c.Result)
	p.text("README.txt", func(b *bytes.Buffer) error { return readme(b, c, withoutNetlist) })
	p.text("result.json", func(b *bytes.Buffer) error { return c.Result.Encode(b) })
	p.text("result.schema.json", func(b *bytes.Buffer) error { return WriteSchema(b) })
	p.text("response.csv", func(b *bytes.Buffer) error { return ResultCSV(b, c.Result, CSVOptions{}) })
	p.text("branch.csv", func(b *bytes.Buffer) error { return BranchCSV(b, c.Result, CSVOptions{}) })
	if withoutNetlist == nil {
		p.text("circuit.cir", func(b *bytes.Buffer) error { _, err := b.WriteString(netlist); return err })
	}
	p.copy("coil.toml", c.Open)
	for _, t := range c.Takes {
		p.copy("takes/"+t.Name+"/take.toml", c.Open)
		if c.Audio {
			p.copy("takes/"+t.Name+"/capture.wav", c.Open)
		}
	}
	p.sumsFile()
	if p.err != nil {
		return fmt.Errorf("archive of coil %q: %w", c.Result.Coil, p.err)
	}
	return p.zip.Close()
}

func latest(takes []capture.Take) time.Time {
	var at time.Time
	for _, t := range takes {
		if t.Started.After(at) {
			at = t.Started
		}
	}
	if at.Year() < 1980 { // what ZIP can hold
		at = time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)
	}
	return at.UTC()
}

// packer adds files and keeps the first error.
type packer struct {
	zip  *zip.Writer
	at   time.Time
	sums bytes.Buffer // in the form of sha256sum
	err  error
}

func (p *packer) add(name string, from io.Reader) {
	if p.err != nil {
		return
	}
	to, err := p.zip.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate, Modified: p.at})
	if err != nil {
		p.err = err
		return
	}
	sum := sha256.New()
	if _, err := io.Copy(io.MultiWriter(to, sum), from); err != nil {
		p.err = fmt.Errorf("%s: %w", name, err)
		return
	}
	fmt.Fprintf(&p.sums, "%s  %s\n", hex.EncodeToString(sum.Sum(nil)), name)
}

func (p *packer) text(name string, fill func(*bytes.Buffer) error) {
	var b bytes.Buffer
	if err := fill(&b); err != nil {
		p.err = errors.Join(p.err, fmt.Errorf("%s: %w", name, err))
		return
	}
	p.add(name, &b)
}

func (p *packer) copy(name string, open func(string) (io.ReadCloser, error)) {
	if p.err != nil {
		return
	}
	f, err := open(name)
	if err != nil {
		p.err = err
		return
	}
	defer f.Close()
	p.add(name, f)
}

func (p *packer) sumsFile() {
	sums := bytes.Clone(p.sums.Bytes())
	p.add("SHA256SUMS", bytes.NewReader(sums))
}
