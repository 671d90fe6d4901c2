// Package outfile writes the files that somebody names, and refuses a name that would
// cost a take, a file edited by hand, or what another program made.
package outfile

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"coilsweep/capture"
	"coilsweep/capture/atomicfile"
	"coilsweep/cmd/coilsweep/internal/workbench"
)

// MadeBy is the mark of pages, figures and netlists that this program made.
const MadeBy = "made by coilsweep"

// marks are what tells a file that this program made, by its ending. A stimulus has
// none: recordings of it may need it.
var marks = map[string]string{
	".csv":  "frequency_hz,level_db,level_U95_db", // of a prediction, with any separator
	".html": MadeBy, ".svg": MadeBy, ".zip": MadeBy, ".wav": MadeBy,
	".cir": MadeBy, ".net": MadeBy, ".sp": MadeBy,
	".png": "Software\x00coilsweep",
	".pdf": "\x00c\x00o\x00i\x00l\x00s\x00w\x00e\x00e\x00p", // its creator, in UTF-16
}

// File is a file that is to be written.
type File struct {
	Path   string
	Option string // that names it; empty: an argument does
	Force  bool   // it may replace a file of another maker
}

// Ending is that of its name, in small letters and with its dot.
func (o File) Ending() string { return strings.ToLower(filepath.Ext(o.Path)) }

// Check refuses, before any work, a name whose ending does not say the kind, and one
// that stands for something else. A file may be replaced that this program made, with
// force also another, but none in a coil folder, and no file that is edited by hand.
func (o File) Check(endings ...string) error {
	if o.Path == "" {
		return nil
	}
	ending := o.Ending()
	if !slices.Contains(endings, ending) {
		return &workbench.UsageError{Err: fmt.Errorf("%s%s: the name must end in %s", o.named(), o.Path,
			strings.Join(endings, " or "))}
	}
	folder, inTakes := coilFolderAbove(o.Path)
	if inTakes {
		return &workbench.UsageError{Err: fmt.Errorf("%s%s is among the takes of a coil: choose another folder", o.named(),
			o.Path)}
	}
	info, err := os.Lstat(o.Path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return fmt.Errorf("cannot write %s: %w", o.Path, atomicfile.Advise(o.Path, err))
	case !info.Mode().IsRegular():
		return fmt.Errorf("cannot write %s: there is something that is not a file: choose another name", o.Path)
	case o.made(ending):
		return nil
	case folder != "" && !(o.Force && isStimulus(Description(o.Path))):
		return fmt.Errorf("%s is a file of the coil folder %s that coilsweep did not make: choose another name", o.Path,
			folder)
	case ending == ".toml" && !isStimulus(o.Path):
		return fmt.Errorf("%s is a file to be edited by hand, not a stimulus: choose another name", o.Path)
	case !o.Force:
		return fmt.Errorf("%s is there already: choose another name, or replace it with --force", o.Path)
	}
	return nil
}

func (o File) named() string {
	if o.Option == "" {
		return ""
	}
	return "--" + o.Option + " "
}

// made tells whether this program made the file that is there.
func (o File) made(ending string) bool {
	const most = 1 << 16 // marks are near an end
	f, err := os.Open(o.Path)
	if err != nil {
		return false
	}
	defer f.Close()
	head, err := io.ReadAll(io.LimitReader(f, most))
	if err != nil {
		return false
	}
	if ending == ".csv" {
		return bytes.HasPrefix(bytes.ReplaceAll(head, []byte(";"), []byte(",")), []byte(marks[ending]))
	}
	tail := head
	if info, err := f.Stat(); err == nil && info.Size() > most {
		tail = make([]byte, most)
		if _, err := f.ReadAt(tail, info.Size()-most); err != nil {
			return false
		}
	}
	mark := []byte(marks[ending])
	return len(mark) > 0 && (bytes.Contains(head, mark) || bytes.Contains(tail, mark))
}

// Write makes the file, whole or not at all, with the mark that its kind takes as text.
func (o File) Write(fill func(io.Writer) error) error {
	return atomicfile.Fill(o.Path, func(w io.Writer) error {
		switch o.Ending() {
		case ".html", ".svg":
			if err := fill(w); err != nil {
				return err
			}
			_, err := fmt.Fprintf(w, "<!-- %s -->\n", MadeBy)
			return err
		case ".cir", ".net", ".sp":
			var b bytes.Buffer
			if err := fill(&b); err != nil {
				return err
			}
			title, rest, _ := strings.Cut(b.String(), "\n")
			_, err := fmt.Fprintf(w, "%s\n* %s\n%s", title, MadeBy, rest)
			return err
		}
		return fill(w)
	})
}

// Description is where a stimulus at path is described.
func Description(path string) string { return strings.TrimSuffix(path, filepath.Ext(path)) + ".toml" }

func isStimulus(path string) bool {
	_, err := workbench.ReadStimulus(path)
	return err == nil
}

// coilFolderAbove is the coil folder that path lies in; empty: in none. inTakes: it is
// among its takes.
func coilFolderAbove(path string) (folder string, inTakes bool) {
	dir, err := filepath.Abs(filepath.Dir(path))
	if err != nil {
		return "", false
	}
	if real, err := filepath.EvalSymlinks(dir); err == nil {
		dir = real
	}
	for below := ""; ; {
		if _, err := capture.OpenFolder(dir); !errors.Is(err, capture.ErrNotFolder) {
			return dir, strings.HasPrefix(below, capture.TakesDir+"/")
		}
		above := filepath.Dir(dir)
		if above == dir {
			return "", false
		}
		below, dir = filepath.Base(dir)+"/"+below, above
	}
}
