package data

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"coilsweep/capture"
	"coilsweep/fit"
	"coilsweep/fit/evaluation"
)

// Archive is what a publication about a coil needs, for one ZIP file: the
// numbers, the curves as response.csv, the fitted circuit as a netlist and as an
// impedance, what was measured and how, a description of the format, how to cite it, a
// script that reads it, checksums, and, if asked for, the audio.
type Archive struct {
	Result fit.Result // with curves
	Takes  []capture.Take
	// Open opens a file of the coil folder by its path with slashes:
	// "coil.toml", "takes/NAME/take.toml", "takes/NAME/capture.wav".
	Open  func(path string) (io.ReadCloser, error)
	Audio bool // the takes' audio too
	// Impedance of the coil alone; where there is none, WithoutImpedance says why.
	Impedance        []fit.Impedance
	WithoutImpedance error
	Authors          []string // as they are to be cited; none: there is no citation file
	// Program that makes the archive, with its version.
	Program string
}

// script reads an archive: an example for whoever goes on from one.
//
//go:embed read.py
var script string

// WriteArchive writes the archive. The same contents give the same bytes: files carry
// the time of the latest take.
func WriteArchive(w io.Writer, c Archive) error {
	p := packer{zip: zip.NewWriter(w), at: latest(c.Takes)}
	p.err = p.zip.SetComment("made by coilsweep")
	netlist, withoutNetlist := Netlist(c.Result)
	p.add("README.txt", strings.NewReader(readme(c, withoutNetlist)))
	result := p.text("result.json", c.Result.Encode)
	p.text("result.schema.json", Result().Write)
	p.text("response.csv", func(w io.Writer) error { return ResultCSV(w, c.Result, CSVOptions{}) })
	p.text("branch.csv", func(w io.Writer) error { return BranchCSV(w, c.Result, CSVOptions{}) })
	if withoutNetlist == nil {
		p.add("circuit.cir", strings.NewReader(netlist))
	}
	if c.WithoutImpedance == nil {
		p.text("impedance.csv", func(w io.Writer) error { return ImpedanceCSV(w, c.Impedance, CSVOptions{}) })
		p.text("impedance.s1p", func(w io.Writer) error { return Touchstone(w, c.Result.Coil, c.Impedance) })
	}
	if c.Authors != nil {
		p.add("CITATION.cff", strings.NewReader(citation(c, result)))
	}
	p.add("read.py", strings.NewReader(script))
	p.copy("coil.toml", c.Open, "")
	for _, t := range c.Takes {
		p.copy("takes/"+t.Name+"/take.toml", c.Open, "")
		if c.Audio {
			p.copy("takes/"+t.Name+"/"+t.Audio.File, c.Open, t.Audio.SHA256)
		}
	}
	p.add("SHA256SUMS", bytes.NewReader(bytes.Clone(p.sums.Bytes())))
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

// add packs a file and returns its checksum.
func (p *packer) add(name string, from io.Reader) (sha256Hex string) {
	if p.err != nil {
		return ""
	}
	to, err := p.zip.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate, Modified: p.at})
	if err != nil {
		p.err = err
		return ""
	}
	sum := sha256.New()
	if _, err := io.Copy(io.MultiWriter(to, sum), from); err != nil {
		p.err = fmt.Errorf("%s: %w", name, err)
		return ""
	}
	sha256Hex = hex.EncodeToString(sum.Sum(nil))
	fmt.Fprintf(&p.sums, "%s  %s\n", sha256Hex, name)
	return sha256Hex
}

func (p *packer) text(name string, fill func(io.Writer) error) (sha256Hex string) {
	var b bytes.Buffer
	if err := fill(&b); err != nil {
		p.err = errors.Join(p.err, fmt.Errorf("%s: %w", name, err))
		return ""
	}
	return p.add(name, &b)
}

// copy packs a file of the folder, which is to have that checksum, unless it is empty.
func (p *packer) copy(name string, open func(string) (io.ReadCloser, error), sha256Hex string) {
	if p.err != nil {
		return
	}
	f, err := open(name)
	if err != nil {
		p.err = err
		return
	}
	defer f.Close()
	if sum := p.add(name, f); p.err == nil && sha256Hex != "" && sum != sha256Hex {
		p.err = fmt.Errorf("%s was changed after it was recorded: restore it, or set the take aside", name)
	}
}

// ArchiveOf is the archive of an evaluation with its circuit.
func ArchiveOf(e *evaluation.Evaluation, audio bool, program string) Archive {
	c := Archive{
		Result: *e.Result, Takes: e.Takes, Audio: audio, Program: program,
		Open: func(name string) (io.ReadCloser, error) {
			return e.Folder.OpenOwn(name)
		},
	}
	top := 0.0 // of the sweeps
	for _, t := range c.Result.Takes {
		if t.Curve != nil {
			top = max(top, slices.Max(t.Curve.FrequencyHz))
		}
	}
	c.Impedance, c.WithoutImpedance = fit.Impedances(e.Fitted(), top)
	known := func(z fit.Impedance) bool { return z.Magnitude.Known() }
	if c.Impedance != nil && !slices.ContainsFunc(c.Impedance, known) {
		c.WithoutImpedance = errors.New(c.Impedance[0].Magnitude.Why)
	}
	return c
}
