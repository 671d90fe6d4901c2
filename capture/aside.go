package capture

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"coilsweep/capture/atomicfile"
	"coilsweep/capture/rooted"
)

const asideSuffix = ".aside"

// AsideTake is a take that was set aside: it no longer counts as a take of the coil,
// and is kept as takes/NAME.aside, NAME.aside-2 and so on.
type AsideTake struct {
	Name    string // of its folder: "bare.aside-2"
	Of      string // the take that it was: "bare"
	Started time.Time
	Err     error // why its take.toml cannot be read, if so
}

// TakeBack makes the take that was set aside as the folder aside a take again, by the name
// that it had. The error wraps ErrTakeExists where another has that name by now.
func (f *Folder) TakeBack(aside string) error {
	name, _, found := strings.Cut(aside, asideSuffix)
	if err := CheckTakeName(name); err != nil || !found || !filepath.IsLocal(aside) {
		return fmt.Errorf("%s has no take that was set aside as %q", f.Dir, aside)
	}
	defer atomicfile.Lock(filepath.Join(f.Dir, TakesDir), true)()
	if _, err := rooted.Lstat(f.TakeDir(name)); err == nil {
		return fmt.Errorf("%w, %s: set that aside first", ErrTakeExists, name)
	}
	if err := atomicfile.Rename(f.TakeDir(aside), f.TakeDir(name)); err != nil {
		return fmt.Errorf("cannot take %s back: %w", aside, atomicfile.Advise(f.TakeDir(name), err))
	}
	return atomicfile.SyncDir(filepath.Join(f.Dir, TakesDir))
}

// SetAside makes the take called name no take any more, without deleting it,
// and returns the name of its folder now. TakeBack undoes it.
func (f *Folder) SetAside(name string) (string, error) {
	if err := CheckTakeName(name); err != nil {
		return "", err
	}
	if info, err := rooted.Lstat(f.TakeDir(name)); err != nil || !info.IsDir() {
		return "", fmt.Errorf("%s has no take %q (no folder %s)", f.Dir, name, f.TakeDir(name))
	}
	defer atomicfile.Lock(filepath.Join(f.Dir, TakesDir), true)()
	aside, err := f.moveAside(name, f.TakeDir(name))
	if err != nil {
		return "", err
	}
	return aside, atomicfile.SyncDir(filepath.Join(f.Dir, TakesDir))
}

// moveAside renames the folder dir, which holds a take called name, and returns its
// name now: NAME.aside, or the first of NAME.aside-2, -3, ... that is free.
func (f *Folder) moveAside(name, dir string) (string, error) {
	for n := 1; ; n++ {
		aside := name + asideSuffix
		if n > 1 {
			aside += "-" + strconv.Itoa(n)
		}
		if _, err := rooted.Lstat(f.TakeDir(aside)); err == nil {
			continue
		} else if !errors.Is(err, fs.ErrNotExist) {
			return "", fmt.Errorf("cannot set take %q aside: %w", name, err)
		}
		// A folder of that name made meanwhile makes this fail, unless empty.
		if err := atomicfile.Rename(dir, f.TakeDir(aside)); err != nil {
			return "", fmt.Errorf("cannot set take %q aside: %w", name, atomicfile.Advise(f.TakeDir(aside), err))
		}
		return aside, nil
	}
}

// Aside lists the takes that were set aside, by the names of their folders.
func (f *Folder) Aside() ([]AsideTake, error) {
	names, err := f.list(func(name string) bool {
		of, number, found := strings.Cut(name, asideSuffix)
		return found && CheckTakeName(of) == nil && (number == "" || strings.HasPrefix(number, "-"))
	})
	var aside []AsideTake
	for _, name := range names {
		a := AsideTake{Name: name}
		a.Of, _, _ = strings.Cut(name, asideSuffix)
		var t Take
		t, a.Err = f.readTake(name, a.Of)
		a.Started = t.Started
		aside = append(aside, a)
	}
	return aside, err
}
