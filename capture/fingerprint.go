package capture

import (
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
		// One that cannot be read is a take that cannot be used, and hides no other.
		sum, err := ChecksumOf(filepath.Join(f.TakeDir(name), TakeFile))
		if err != nil {
			sum = ""
		}
		p.Takes = append(p.Takes, TakeFingerprint{name, sum})
	}
	return p, nil
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
}

// ReadHeading reads the heading of a take without judging the rest of its
// take.toml: some hundred times quicker than ReadTake, which works the
// stimulus out again.
func (f *Folder) ReadHeading(name string) (TakeHeading, error) {
	path := filepath.Join(f.TakeDir(name), TakeFile)
	var t struct {
		Started time.Time `toml:"started"`
		Quality struct {
			Flags []Flag `toml:"flags"`
		} `toml:"quality"`
	}
	text, err := atomicfile.Read(path, atomicfile.MaxText)
	if err == nil {
		err = toml.Unmarshal(text, &t)
	}
	if err != nil {
		return TakeHeading{}, fmt.Errorf("%s: %w", path, err)
	}
	return TakeHeading{t.Started, t.Quality.Flags}, nil
}
