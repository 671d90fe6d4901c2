package capture

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"coilsweep/capture/atomicfile"
	"coilsweep/capture/rooted"
)

const (
	// nextSuffix is on the folder of a complete take that is to replace another.
	nextSuffix = ".next"
	// ImportPrefix and uploadPrefix begin the names of folders that are gone when an
	// import or an upload ends.
	ImportPrefix = ".import-"
	uploadPrefix = ".upload-"
	tempSuffix   = ".tmp"
	// leftAfter is how long nothing has been written to what a stopped program left.
	leftAfter = 10 * time.Minute
)

// Mend finishes what a program that was stopped had begun in the coil folders dirs and
// removes what it left, and says so in sentences. What another is just working on
// stays. In a folder of another kind it does nothing.
func Mend(dirs ...string) (said []string) {
	above := map[string]bool{} // was looked through: it may hold all the coils
	for _, dir := range dirs {
		if _, err := rooted.Lstat(filepath.Join(dir, coilFile)); err == nil {
			said = append(said, (&Folder{Dir: dir}).mend(!above[filepath.Dir(dir)])...)
			above[filepath.Dir(dir)] = true
		}
	}
	return said
}

// mend is Mend for one coil folder; above: what was left in the folder above is removed
// too.
func (f *Folder) mend(above bool) (said []string) {
	takes, _ := rooted.ReadDir(filepath.Join(f.Dir, TakesDir))
	if slices.ContainsFunc(takes, func(e os.DirEntry) bool { return mayBeUnfinished(e.Name()) }) &&
		len(f.unfinished()) > 0 {
		if unlock := atomicfile.Lock(filepath.Join(f.Dir, TakesDir), false); unlock != nil {
			for _, u := range f.unfinished() { // they may be finished meanwhile
				said = append(said, u.finish(f))
			}
			unlock()
		}
		takes, _ = rooted.ReadDir(filepath.Join(f.Dir, TakesDir))
	}
	for _, path := range f.left(above, takes) {
		if err := rooted.RemoveAll(path); err != nil {
			said = append(said, fmt.Sprintf("cannot remove %s, which a stopped program had left: %v", path,
				atomicfile.Advise(path, err)))
			continue
		}
		said = append(said, "removed "+path+", which a stopped program had left")
	}
	return said
}

// unfinished is a complete take that has not got its name.
type unfinished struct{ dir, take string }

// unfinished finds them: those that were to replace another take, and those whose
// name is free.
func (f *Folder) unfinished() (found []unfinished) {
	names, _ := f.list(mayBeUnfinished)
	for _, name := range names {
		u := unfinished{dir: name}
		of, next := strings.CutSuffix(name, nextSuffix)
		if partial, _, is := strings.Cut(name, PartialSuffix); is && f.CheckNew(partial) != nil {
			continue // the take of that name is there: it is for an import
		}
		if next {
			u.take = of
		} else if t, err := readTakeFile(filepath.Join(f.TakeDir(name), TakeFile)); err == nil &&
			f.CheckNew(t.Name) == nil {
			u.take = t.Name
		}
		if CheckTakeName(u.take) == nil {
			found = append(found, u)
		}
	}
	return found
}

func mayBeUnfinished(name string) bool {
	return strings.HasSuffix(name, nextSuffix) || strings.HasPrefix(name, ImportPrefix) ||
		strings.Contains(name, PartialSuffix)
}

// finish gives it its name, and says so.
func (u unfinished) finish(f *Folder) string {
	aside, err := "", error(nil)
	if strings.HasSuffix(u.dir, nextSuffix) {
		aside, err = f.finishReplacing(u.take)
	} else {
		err = rooted.Rename(f.TakeDir(u.dir), f.TakeDir(u.take))
	}
	if err == nil {
		err = f.settle(u.take)
	}
	switch {
	case err != nil:
		return fmt.Sprintf("take %s is complete in %s, but cannot be given its name: %v", u.take, f.TakeDir(u.dir), err)
	case aside != "":
		return fmt.Sprintf("a stopped program had begun to replace take %s: that is done now, and the old one is kept as %s",
			u.take, aside)
	}
	return fmt.Sprintf("take %s was complete, but the program was stopped before the take had its name: it has it now",
		u.take)
}

// replace gives the complete take in dir the name of another, which it sets aside. In
// no state between does the name lead to nothing for good: where two folders cannot be
// exchanged, Mend knows by NAME.next what is missing. The lock of takes is held.
func (f *Folder) replace(dir string, t Take) error {
	next := f.TakeDir(t.Name) + nextSuffix
	if _, err := rooted.Lstat(next); err == nil {
		if _, err := f.finishReplacing(t.Name); err != nil {
			return err
		}
	}
	// In the take of two that has it, the stimulus is the mark of the newer one.
	if err := remove(filepath.Join(f.TakeDir(t.Name), StimulusFile)); err != nil {
		return err
	}
	text, err := t.Stimulus.Encode()
	if err == nil {
		err = atomicfile.Write(filepath.Join(dir, StimulusFile), text)
	}
	if err == nil {
		err = rooted.Rename(dir, next)
	}
	if err != nil {
		return err
	}
	if _, err = f.finishReplacing(t.Name); err == nil {
		return nil
	}
	if !isNew(next) {
		return &UnconfirmedError{t.Name, err} // the old one is in NAME.next
	}
	return errors.Join(err, rooted.Rename(next, dir)) // where its maker looks for it
}

// isNew tells whether a folder holds a take that has not got its name.
func isNew(dir string) bool {
	_, err := rooted.Lstat(filepath.Join(dir, StimulusFile))
	return err == nil
}

// finishReplacing brings NAME.next to where it belongs, and returns the name under
// which the old take is kept now, if it was not yet.
func (f *Folder) finishReplacing(name string) (aside string, err error) {
	next, place := f.TakeDir(name)+nextSuffix, f.TakeDir(name)
	if isNew(next) {
		if f.CheckNew(name) == nil {
			return "", rooted.Rename(next, place) // the old one is aside
		}
		if err = atomicfile.Exchange(next, place); errors.Is(err, errors.ErrUnsupported) {
			if aside, err = f.moveAside(name, place); err != nil {
				return "", err
			}
			if err = rooted.Rename(next, place); err != nil {
				return "", errors.Join(err, rooted.Rename(f.TakeDir(aside), place))
			}
			return aside, nil
		}
		if err != nil {
			return "", err
		}
	}
	return f.moveAside(name, next)
}

// settle makes the place of a take last. What an unfinished recording needs is not
// needed any more.
func (f *Folder) settle(name string) error {
	files := []string{planFile, StimulusFile}
	if f.hasBoth(name) {
		files = append(files, AudioFile)
	}
	for _, file := range files {
		if err := remove(filepath.Join(f.TakeDir(name), file)); err != nil {
			return err
		}
	}
	return atomicfile.SyncDir(filepath.Join(f.Dir, TakesDir))
}

// hasBoth tells whether the audio of the take called name lies there as WAV, too, beside
// the FLAC file that is meant.
func (f *Folder) hasBoth(name string) bool {
	if _, err := rooted.Lstat(filepath.Join(f.TakeDir(name), FLACFile)); err != nil {
		return false
	}
	if _, err := rooted.Lstat(filepath.Join(f.TakeDir(name), AudioFile)); err != nil {
		return false
	}
	t, err := f.ReadTake(name)
	return err == nil && t.Audio.File == FLACFile && f.CheckAudio(t) == nil
}

// remove is os.Remove for a file that may be gone.
func remove(path string) error {
	if err := rooted.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

// left are the folders and files that a stopped program left in the coil folder, in which
// takes are the entries of that folder, and in the folder above.
func (f *Folder) left(above bool, takes []os.DirEntry) (paths []string) {
	old := func(path string) bool { return time.Since(lastWritten(path)) > leftAfter }
	look := func(dir string, entries []os.DirEntry, of func(name string) bool) {
		for _, e := range entries {
			path := filepath.Join(dir, e.Name())
			if strings.HasPrefix(e.Name(), ".") && of(e.Name()) && old(path) {
				paths = append(paths, path)
			}
		}
	}
	in := func(dir string) []os.DirEntry {
		entries, _ := rooted.ReadDir(dir)
		return entries
	}
	temp := func(name string) bool { return strings.HasSuffix(name, tempSuffix) }
	if dir := filepath.Dir(f.Dir); above { // it may hold the bench of several coils, and much else
		look(dir, in(dir), func(name string) bool {
			return temp(name) && (strings.HasPrefix(name, ".bench.toml.") || strings.HasPrefix(name, ".card-"))
		})
	}
	look(f.Dir, in(f.Dir), func(name string) bool { return temp(name) || strings.HasPrefix(name, uploadPrefix) })
	look(filepath.Join(f.Dir, TakesDir), takes, func(name string) bool { return strings.HasPrefix(name, ImportPrefix) })
	for _, e := range takes {
		if !e.IsDir() || strings.HasPrefix(e.Name(), ".") {
			continue
		}
		dir := f.TakeDir(e.Name())
		entries := in(dir)
		look(dir, entries, temp)
		is := func(e os.DirEntry) bool { return e.Name() == FLACFile }
		if wav := filepath.Join(dir, AudioFile); slices.ContainsFunc(entries, is) && f.hasBoth(e.Name()) && old(wav) {
			paths = append(paths, wav)
		}
	}
	return paths
}

// lastWritten is when something at or below path was last written to; now, where that
// cannot be told.
func lastWritten(path string) (last time.Time) {
	err := rooted.WalkDir(path, func(_ string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := e.Info()
		if err == nil && info.ModTime().After(last) {
			last = info.ModTime()
		}
		return err
	})
	if err != nil {
		return time.Now()
	}
	return last
}
