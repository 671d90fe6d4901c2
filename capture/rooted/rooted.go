// Package rooted is the file access of what keeps and reads coil folders. Where a
// folder is confined, as the bench page confines the one that it serves, everything
// below it is reached through os.Root: a symbolic link that leads out of it, at
// whatever depth and whenever it was put there, is an error. Elsewhere its functions
// are those of package os.
package rooted

import (
	"cmp"
	"crypto/rand"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
)

// confined are the folders whose links are not followed out of them, by their whole
// paths. One may be there several times.
var (
	mu       sync.RWMutex
	confined []*os.Root
)

// Confine confines the folder dir, its whole path without symbolic links, until release.
func Confine(dir string) (release func(), err error) {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, err
	}
	mu.Lock()
	defer mu.Unlock()
	confined = append(confined, root)
	return func() {
		mu.Lock()
		defer mu.Unlock()
		confined = slices.DeleteFunc(confined, func(r *os.Root) bool { return r == root })
		root.Close()
	}, nil
}

// above is the confined folder that path is in, nil where it is in none, and its path
// from there.
func above(path string) (root *os.Root, rel string) {
	mu.RLock()
	defer mu.RUnlock()
	if len(confined) == 0 {
		return nil, ""
	}
	whole, err := filepath.Abs(path)
	if err != nil {
		return nil, ""
	}
	for _, root := range confined {
		rel, ok := strings.CutPrefix(whole, root.Name())
		if ok && (rel == "" || rel[0] == filepath.Separator) {
			return root, cmp.Or(strings.TrimPrefix(rel, string(filepath.Separator)), ".")
		}
	}
	return nil, ""
}

// reach is do by os.Root where path is in a confined folder, else by package os.
func reach[T any](path string, do func(root *os.Root, rel string) (T, error), free func(string) (T, error)) (T, error) {
	if root, rel := above(path); root != nil {
		return do(root, rel)
	}
	return free(path)
}

// change is reach for what has no result.
func change(path string, do func(root *os.Root, rel string) error, free func(string) error) error {
	_, err := reach(path, func(root *os.Root, rel string) (struct{}, error) { return struct{}{}, do(root, rel) },
		func(path string) (struct{}, error) { return struct{}{}, free(path) })
	return err
}

// Open is os.Open.
func Open(path string) (*os.File, error) { return reach(path, (*os.Root).Open, os.Open) }

// OpenFile is os.OpenFile.
func OpenFile(path string, flag int, mode fs.FileMode) (*os.File, error) {
	return reach(path, func(root *os.Root, rel string) (*os.File, error) { return root.OpenFile(rel, flag, mode) },
		func(path string) (*os.File, error) { return os.OpenFile(path, flag, mode) })
}

// ReadFile is os.ReadFile.
func ReadFile(path string) ([]byte, error) { return reach(path, (*os.Root).ReadFile, os.ReadFile) }

// Stat is os.Stat.
func Stat(path string) (fs.FileInfo, error) { return reach(path, (*os.Root).Stat, os.Stat) }

// Lstat is os.Lstat.
func Lstat(path string) (fs.FileInfo, error) { return reach(path, (*os.Root).Lstat, os.Lstat) }

// ReadDir is os.ReadDir.
func ReadDir(path string) ([]fs.DirEntry, error) {
	return reach(path, func(root *os.Root, rel string) ([]fs.DirEntry, error) {
		return fs.ReadDir(root.FS(), filepath.ToSlash(rel))
	}, os.ReadDir)
}

// WalkDir is filepath.WalkDir.
func WalkDir(path string, fn fs.WalkDirFunc) error {
	root, rel := above(path)
	if root == nil {
		return filepath.WalkDir(path, fn)
	}
	return fs.WalkDir(root.FS(), filepath.ToSlash(rel), func(at string, entry fs.DirEntry, err error) error {
		return fn(filepath.Join(root.Name(), filepath.FromSlash(at)), entry, err)
	})
}

// Mkdir is os.Mkdir with the mode that the umask leaves.
func Mkdir(path string) error {
	return change(path, func(root *os.Root, rel string) error { return root.Mkdir(rel, 0o777) },
		func(path string) error { return os.Mkdir(path, 0o777) })
}

// MkdirAll is os.MkdirAll with the mode that the umask leaves.
func MkdirAll(path string) error {
	return change(path, func(root *os.Root, rel string) error { return root.MkdirAll(rel, 0o777) },
		func(path string) error { return os.MkdirAll(path, 0o777) })
}

// MkdirTemp makes a new folder in dir whose name begins with prefix, with the mode that
// the umask leaves.
func MkdirTemp(dir, prefix string) (path string, err error) {
	path = filepath.Join(dir, prefix+rand.Text()[:12])
	return path, Mkdir(path)
}

// Remove is os.Remove.
func Remove(path string) error { return change(path, (*os.Root).Remove, os.Remove) }

// RemoveAll is os.RemoveAll.
func RemoveAll(path string) error { return change(path, (*os.Root).RemoveAll, os.RemoveAll) }

// Rename is os.Rename. Both are below the same confined folder, or below none.
func Rename(from, to string) error {
	return change(from, func(root *os.Root, rel string) error {
		there, err := filepath.Abs(to)
		if err == nil {
			there, err = filepath.Rel(root.Name(), there)
		}
		if err != nil {
			return err
		}
		return root.Rename(rel, there)
	}, func(from string) error { return os.Rename(from, to) })
}
