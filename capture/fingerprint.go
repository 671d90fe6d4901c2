package capture

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
	"time"

	"github.com/BurntSushi/toml"

	"coilsweep/capture/atomicfile"
	"coilsweep/capture/rooted"
)

// Fingerprint is what a folder holds, by checksums: two that are equal mean
// that nothing was added, removed or edited in between. A take's file carries
// the checksum of its audio, so that the audio need not be read for it.
type Fingerprint struct {
	CoilSHA256 string // of coil.toml
	Takes      []TakeFingerprint
}

// Equal tells whether both are of folders that hold the same.
func (p Fingerprint) Equal(q Fingerprint) bool {
	return p.CoilSHA256 == q.CoilSHA256 && slices.Equal(p.Takes, q.Takes)
}

// TakeFingerprint is one take of a Fingerprint.
type TakeFingerprint struct {
	Name string
	// SHA256 is that of take.toml; empty where there is none to read.
	SHA256 string
}

// Fingerprint reads coil.toml and every take.toml of the folder as they are
// now. Takes are in the order of their names.
func (f *Folder) Fingerprint() (Fingerprint, error) {
	var p Fingerprint
	var err error
	if p.CoilSHA256, err = ChecksumOf(filepath.Join(f.Dir, coilFile)); err != nil {
		return p, err
	}
	names, err := f.takeNames()
	if err != nil {
		return p, err
	}
	for _, name := range names {
		held, _, _ := f.readText(name)
		p.Takes = append(p.Takes, held)
	}
	return p, nil
}

// readText reads the take.toml of the take called name. One that cannot be read is a take
// that cannot be used, and hides no other.
func (f *Folder) readText(name string) (TakeFingerprint, []byte, error) {
	text, err := atomicfile.Read(filepath.Join(f.TakeDir(name), TakeFile), atomicfile.MaxText)
	if err != nil {
		return TakeFingerprint{Name: name}, nil, err
	}
	return TakeFingerprint{name, atomicfile.Sum(text)}, text, nil
}

// AudioStamp tells without reading it that the audio of a take is still the file
// that it was.
type AudioStamp struct {
	Bytes      int64
	ModifiedNs int64 // since 1970
}

// AudioStamp is that of the audio of the take called name; the zero value where
// there is none.
func (f *Folder) AudioStamp(name string) AudioStamp {
	info, err := rooted.Stat(filepath.Join(f.TakeDir(name), FLACFile))
	if errors.Is(err, fs.ErrNotExist) {
		info, err = rooted.Stat(filepath.Join(f.TakeDir(name), AudioFile))
	}
	if err != nil {
		return AudioStamp{}
	}
	return AudioStamp{info.Size(), info.ModTime().UnixNano()}
}

// ChecksumOf is the checksum of the file at path: atomicfile.Sum.
func ChecksumOf(path string) (string, error) {
	f, _, err := atomicfile.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	return atomicfile.SumOf(f)
}

// TakeHeading is what a list shows of a take.
type TakeHeading struct {
	Started time.Time
	Flags   []Flag
	Err     error // why take.toml cannot be read; nil: it can
}

// Remembered is what is known of a folder by the checksums of its files.
type Remembered struct {
	CoilSHA256 string      // of coil.toml
	Coil       CoilHeading // of that
	Take       func(TakeFingerprint) (TakeHeading, bool)
}

// CoilHeading is what a list shows of a coil.toml.
type CoilHeading struct {
	Coil string // its name, with its state
	// CoilState is what was done to the coil since it was first measured; empty: nothing.
	CoilState             string
	Serial, Lot, Customer string
}

// Survey is what a list shows of a coil folder.
type Survey struct {
	CoilHeading
	Held     Fingerprint
	Headings []TakeHeading // of Held.Takes
}

// ReadSurvey reads what a list shows of the coil folder dir, each file once, and none that
// is remembered more than for its checksum. It does not judge takes: working a stimulus
// out again takes a hundred times longer.
func ReadSurvey(dir string, of Remembered) (s Survey, err error) {
	text, err := readCoilText(dir)
	if err != nil {
		return s, err
	}
	s.CoilHeading, s.Held.CoilSHA256 = of.Coil, atomicfile.Sum(text)
	if s.Held.CoilSHA256 != of.CoilSHA256 {
		coil, err := readCoil(dir, text)
		if err != nil {
			return s, err
		}
		s.CoilHeading = CoilHeading{coil.Title(), coil.State, coil.Serial, coil.Lot, coil.Customer}
	}
	f := &Folder{Dir: dir}
	names, err := f.takeNames()
	if err != nil {
		return s, fmt.Errorf("%s: %w", dir, err)
	}
	for _, name := range names {
		held, text, err := f.readText(name)
		heading, known := TakeHeading{Err: err}, false
		if err == nil && of.Take != nil {
			heading, known = of.Take(held)
		}
		if err == nil && !known {
			heading = headingOf(text)
		}
		s.Held.Takes, s.Headings = append(s.Held.Takes, held), append(s.Headings, heading)
	}
	return s, nil
}

// headingOf reads the heading of a take in its take.toml.
func headingOf(text []byte) TakeHeading {
	var t struct {
		Started time.Time `toml:"started"`
		Quality struct {
			Flags []Flag `toml:"flags"`
		} `toml:"quality"`
	}
	err := toml.Unmarshal(headLines(text), &t)
	if err != nil {
		err = toml.Unmarshal(text, &t)
	}
	return TakeHeading{t.Started, t.Quality.Flags, err}
}

// headLines are the lines of a take.toml above its tables, and those of the table quality;
// all of a text that is not laid out as the program does it.
func headLines(text []byte) []byte {
	top, rest, found := bytes.Cut(text, []byte("\n["))
	_, quality, has := bytes.Cut(rest, []byte("\n[quality]\n"))
	if !found || !has {
		return text
	}
	quality, _, _ = bytes.Cut(quality, []byte("\n["))
	return slices.Concat(top, []byte("\n[quality]\n"), quality)
}
