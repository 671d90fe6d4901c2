package capture

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"strings"

	"coilsweep/capture/rooted"
)

// FindFolders lists the coil folders at and below root in lexical order: every
// folder with a coil.toml. Takes and hidden folders are not searched, symbolic
// links not followed. What could not be read is in unreadable; err is for root
// itself and for the end of ctx.
func FindFolders(ctx context.Context, root string) (dirs []string, unreadable []error, err error) {
	info, err := rooted.Stat(root)
	if err != nil {
		return nil, nil, fmt.Errorf("cannot look for coils: %w", err)
	}
	if !info.IsDir() {
		return nil, nil, fmt.Errorf("cannot look for coils below %s: it is a file", root)
	}
	err = rooted.WalkDir(root, func(path string, entry fs.DirEntry, err error) error {
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case err != nil:
			unreadable = append(unreadable, err)
			return fs.SkipDir
		case entry.IsDir() && path != root && strings.HasPrefix(entry.Name(), "."):
			return fs.SkipDir
		case entry.IsDir() && entry.Name() == TakesDir:
			if len(dirs) > 0 && dirs[len(dirs)-1] == filepath.Dir(path) { // "coil.toml" comes before
				return fs.SkipDir
			}
		case !entry.IsDir() && entry.Name() == coilFile:
			dirs = append(dirs, filepath.Dir(path))
		}
		return nil
	})
	if errors.Is(err, fs.SkipDir) {
		err = nil
	}
	return dirs, unreadable, err
}

// Times are the coil folders below root with the times at which coil, takes and result were
// changed last: a text that differs once they have been.
func Times(ctx context.Context, root string) string {
	dirs, _, _ := FindFolders(ctx, root)
	now := fmt.Sprintln(len(dirs), "coils")
	for _, dir := range dirs {
		now += dir
		for _, name := range []string{coilFile, TakesDir, "result.json"} {
			if info, err := rooted.Lstat(filepath.Join(dir, name)); err == nil {
				now += fmt.Sprintf(" %x", info.ModTime().UnixNano())
			}
		}
		now += "\n"
	}
	return now
}
