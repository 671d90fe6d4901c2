// Package capture is what is kept of a measurement: coil folders, their takes
// with the audio, and the sound card's calibration, as they lie on disk.
package capture

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"coilsweep/capture/atomicfile"
	"coilsweep/capture/rooted"
)

// Errors that callers branch on.
var (
	// ErrTakeExists: takes are never overwritten.
	ErrTakeExists = errors.New("there is already a take of that name")
	// ErrNotFolder: the folder holds no coil.toml.
	ErrNotFolder = errors.New("not a coil folder")
	// ErrFolderExists: the folder is a coil folder already.
	ErrFolderExists = errors.New("already a coil folder")
)

const (
	coilFile      = "coil.toml"
	TakeFile      = "take.toml"
	StimulusFile  = "stimulus.toml"
	TakesDir      = "takes"
	PartialSuffix = ".partial"
)

// Folder is the folder of one coil: coil.toml, takes/NAME/ and what was made
// from them.
type Folder struct {
	Dir  string
	Coil Coil
}

// CreateFolder makes dir a coil folder. dir may exist, unless it is one
// already (ErrFolderExists).
func CreateFolder(dir string, coil Coil) error {
	coil.Schema = CoilSchema
	if err := coil.check(); err != nil {
		return err
	}
	if err := checkNewFolder(dir); err != nil {
		return err
	}
	path := filepath.Join(dir, coilFile)
	if _, err := rooted.Lstat(path); err == nil {
		return fmt.Errorf("%s is %w: choose another, or edit its %s", dir, ErrFolderExists, coilFile)
	}
	if err := rooted.MkdirAll(filepath.Join(dir, TakesDir)); err != nil {
		return fmt.Errorf("cannot make coil folder %s: %w", dir, atomicfile.Advise(dir, err))
	}
	return atomicfile.Write(path, encodeCoil(coil))
}

// checkFileName returns an error unless a file or folder can be called name on every
// system.
func checkFileName(name string) error {
	if trouble := atomicfile.NameTrouble(name); trouble != "" {
		return fmt.Errorf("%q cannot be the name of a file or folder: %s", name, trouble)
	}
	return nil
}

// checkNewFolder is checkFileName for the last part of the path of a folder to be made.
func checkNewFolder(dir string) error {
	base := filepath.Base(dir)
	if base == "." || base == ".." {
		whole, err := filepath.Abs(dir)
		if err != nil {
			return err
		}
		base = filepath.Base(whole)
	}
	return checkFileName(base)
}

// OpenFolder reads the coil.toml of dir. The error wraps ErrNotFolder where
// there is none.
func OpenFolder(dir string) (*Folder, error) {
	text, err := readCoilText(dir)
	if err != nil {
		return nil, err
	}
	coil, err := readCoil(dir, text)
	if err != nil {
		return nil, err
	}
	return &Folder{Dir: dir, Coil: coil}, nil
}

func readCoilText(dir string) ([]byte, error) {
	text, err := atomicfile.Read(filepath.Join(dir, coilFile), atomicfile.MaxText)
	if err == nil {
		return text, nil
	}
	if info, serr := rooted.Stat(dir); serr == nil && !info.IsDir() {
		return nil, fmt.Errorf("%s is %w: it is a file", dir, ErrNotFolder)
	} else if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%s is %w (no %s in it)", dir, ErrNotFolder, coilFile)
	}
	return nil, fmt.Errorf("cannot read coil folder: %w", err)
}

// readCoil reads text, which is the coil.toml of dir.
func readCoil(dir string, text []byte) (Coil, error) {
	coil, err := decodeCoil(text)
	if err != nil {
		return coil, fmt.Errorf("%s: %w", filepath.Join(dir, coilFile), err)
	}
	return coil, nil
}

// TakeDir is where the take called name is kept.
func (f *Folder) TakeDir(name string) string {
	return filepath.Join(f.Dir, TakesDir, name)
}

// UnreadableTake is a take whose take.toml cannot be used, and why.
type UnreadableTake struct {
	Name string
	Err  error
}

// Takes reads the takes that held names, in the order of their time. Those that are
// in known, and have not changed, are not read again. A take that cannot be read is in
// unreadable beside the good ones.
func (f *Folder) Takes(held Fingerprint, known map[TakeFingerprint]Take) (takes []Take, unreadable []UnreadableTake) {
	for _, h := range held.Takes {
		if t, ok := known[h]; ok && t.State == f.Coil.State {
			takes = append(takes, t)
		} else if t, err := f.ReadTake(h.Name); err != nil {
			unreadable = append(unreadable, UnreadableTake{h.Name, err})
		} else {
			takes = append(takes, t)
		}
	}
	slices.SortStableFunc(takes, func(a, b Take) int { return a.Started.Compare(b.Started) })
	return takes, unreadable
}

// takeNames lists the takes by name. Unfinished recordings and hidden folders are none.
func (f *Folder) takeNames() ([]string, error) {
	return f.list(func(name string) bool { return !strings.Contains(name, ".") })
}

// Partials lists the folders of recordings that were interrupted.
func (f *Folder) Partials() ([]string, error) {
	names, err := f.list(func(name string) bool {
		return !strings.HasPrefix(name, ".") && strings.Contains(name, PartialSuffix)
	})
	for i, name := range names {
		names[i] = f.TakeDir(name)
	}
	return names, err
}

// list names the folders under takes that are wanted, sorted.
func (f *Folder) list(want func(name string) bool) ([]string, error) {
	entries, err := rooted.ReadDir(filepath.Join(f.Dir, TakesDir))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil // no take yet
	} else if err != nil {
		return nil, fmt.Errorf("cannot read the takes: %w", err)
	}
	var names []string
	for _, e := range entries {
		// Links would let a folder mean another in its copy; irregular are Windows' junctions.
		if e.Type()&(fs.ModeSymlink|fs.ModeIrregular) != 0 && want(e.Name()) {
			return nil, fmt.Errorf("%s is a link: move the take itself there, or remove the link", f.TakeDir(e.Name()))
		}
		if e.IsDir() && want(e.Name()) {
			names = append(names, e.Name())
		}
	}
	return names, nil
}

// ReadTake reads the take.toml of the take called name.
func (f *Folder) ReadTake(name string) (Take, error) {
	if err := CheckTakeName(name); err != nil {
		return Take{}, err
	}
	return f.readTake(name, name)
}

// readTake reads the take called name from the folder dir under takes.
func (f *Folder) readTake(dir, name string) (Take, error) {
	path := filepath.Join(f.TakeDir(dir), TakeFile)
	t, err := readTakeFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return Take{}, fmt.Errorf("%s has no take %q (no %s)", f.Dir, name, path)
	} else if err == nil && t.Name != name {
		err = fmt.Errorf("%s: the take calls itself %q: folder and name must agree", path, t.Name)
	} else if err == nil && t.State != f.Coil.State {
		err = fmt.Errorf("%s is of the coil in the state %q, and lies among takes of the state %q: write the right "+
			"state into it", path, t.State, f.Coil.State)
	}
	if err != nil {
		return Take{}, err
	}
	if t.Alignment != nil && !t.Alignment.Fits(int(t.Audio.Frames), t.Stimulus) {
		t.Alignment = nil
	}
	return t, nil
}

// readTakeFile reads the take.toml at path.
func readTakeFile(path string) (Take, error) {
	data, err := atomicfile.Read(path, atomicfile.MaxText)
	if err != nil {
		return Take{}, fmt.Errorf("cannot read the take: %w", err)
	}
	t, err := DecodeTake(data)
	if err != nil {
		return Take{}, fmt.Errorf("%s: %w", path, err)
	}
	return t, nil
}

// Audio reads the audio of a take, channel 1 the coil, channel 2 the reference; where
// channels are given, no others. Audio that is not the one that was recorded, by its
// checksum, is an error.
func (f *Folder) Audio(t Take, channels ...int) (Recording, error) {
	path := filepath.Join(f.TakeDir(t.Name), t.Audio.File)
	audio, size, err := f.openAudio(t)
	if err != nil {
		return Recording{}, err
	}
	defer audio.Close()
	r, err := decodeRecording(audio, size, Want{Channels: channels})
	if err != nil {
		return Recording{}, fmt.Errorf("%s: %w", path, err)
	}
	a := t.Audio
	if channels != nil {
		a.Channels = len(channels)
	}
	if r.RateHz != a.RateHz || len(r.Samples) != a.Channels || int64(r.Frames()) != a.Frames {
		return Recording{}, fmt.Errorf("%s holds %d frames of %s at %d Hz, %s says %d of %d at %d Hz", path,
			r.Frames(), ChannelCount(len(r.Samples)), r.RateHz, TakeFile, a.Frames, a.Channels, a.RateHz)
	}
	return r, nil
}

// OpenOwn opens a file of the folder by its path with slashes, for others to read. What
// is reached through a symbolic link is not the folder's own, and an error.
func (f *Folder) OpenOwn(name string) (io.ReadCloser, error) {
	path := f.Dir
	var info fs.FileInfo
	var err error
	for element := range strings.SplitSeq(name, "/") {
		path = filepath.Join(path, element)
		if info, err = rooted.Lstat(path); err != nil {
			return nil, err
		}
		if info.Mode()&fs.ModeSymlink != 0 {
			return nil, fmt.Errorf("%s is a symbolic link: only what is in the folder itself is passed on", path)
		}
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s is not a file", path)
	}
	file, _, err := atomicfile.Open(path)
	if err != nil {
		return nil, err
	}
	if opened, err := file.Stat(); err != nil || !os.SameFile(info, opened) {
		file.Close()
		return nil, fmt.Errorf("%s was exchanged while it was opened", path)
	}
	return file, nil
}

// CheckAudio reads the audio of a take and returns an error where it is not the
// one that was recorded, by its checksum.
func (f *Folder) CheckAudio(t Take) error {
	audio, _, err := f.openAudio(t)
	if err != nil {
		return err
	}
	return audio.Close()
}

// openAudio opens the audio of a take, after its checksum was compared, and tells its
// size.
func (f *Folder) openAudio(t Take) (*os.File, int64, error) {
	path := filepath.Join(f.TakeDir(t.Name), t.Audio.File)
	audio, size, err := atomicfile.Open(path)
	if err != nil {
		return nil, 0, fmt.Errorf("cannot read the audio: %w", err)
	}
	got, err := atomicfile.SumOf(audio)
	if err != nil {
		audio.Close()
		return nil, 0, fmt.Errorf("cannot read the audio: %w", err)
	}
	if got != t.Audio.SHA256 {
		audio.Close()
		return nil, 0, fmt.Errorf("%s was changed after it was recorded (SHA-256 %.12s…, want %.12s…): restore it, "+
			"or import it as a new take", path, got, t.Audio.SHA256)
	}
	return audio, size, nil
}

// CheckNew returns ErrTakeExists, wrapped, where name is taken.
func (f *Folder) CheckNew(name string) error {
	if _, err := rooted.Lstat(f.TakeDir(name)); err == nil {
		return fmt.Errorf("take %q in %s: %w", name, f.Dir, ErrTakeExists)
	}
	return nil
}

// UnconfirmedError says that a take has its place, but that the disk did not confirm
// it: a power cut may undo it.
type UnconfirmedError struct {
	Take string
	Err  error
}

func (e *UnconfirmedError) Error() string {
	return fmt.Sprintf("take %s is kept, but the disk did not confirm it: %v", e.Take, e.Err)
}
func (e *UnconfirmedError) Unwrap() error { return e.Err }

// Keep gives the finished take in dir its place. Another that has it is set
// aside where redo says so; it is never replaced. Where the error is an
// *UnconfirmedError the take has its place.
func (f *Folder) Keep(dir string, t Take, redo bool) error {
	data, err := EncodeTake(t)
	if err != nil {
		return err
	}
	// As soon as there is a take.toml, Mend would give the take its place.
	defer atomicfile.Lock(filepath.Join(f.Dir, TakesDir), true)()
	if err := atomicfile.Write(filepath.Join(dir, TakeFile), data); err != nil {
		return err
	}
	if err = f.CheckNew(t.Name); err == nil {
		err = atomicfile.Rename(dir, f.TakeDir(t.Name))
	} else if redo {
		err = f.replace(dir, t)
	} else {
		return err
	}
	if _, unconfirmed := errors.AsType[*UnconfirmedError](err); unconfirmed {
		return err
	} else if err != nil {
		return fmt.Errorf("cannot give take %q its place: %w", t.Name, atomicfile.Advise(f.TakeDir(t.Name), err))
	}
	if err := f.settle(t.Name); err != nil {
		return &UnconfirmedError{t.Name, err}
	}
	return nil
}
