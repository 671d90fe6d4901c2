package pair

import (
	"path/filepath"
	"strings"

	"coilsweep/capture/rooted"
)

// Member is what a coil folder is of a pair.
type Member struct {
	Folder string // of the pair
	Name   string // of the pair
	Role   string // First, Second or Both: then what is measured there is not one coil
}

// Members tells which of the coil folders dirs are of a pair, by folder. Pairs are looked for
// in root and in the folders between it and the coils; a pair.toml that cannot be read is the
// pair's own affair.
func Members(root string, dirs []string) map[string]Member {
	members, seen := map[string]Member{}, map[string]bool{}
	for _, dir := range dirs {
		seen[filepath.Clean(dir)] = true // a coil's folder is not a pair's
	}
	root = filepath.Clean(root)
	for _, dir := range dirs {
		for above := filepath.Dir(filepath.Clean(dir)); within(root, above) && !seen[above]; above = filepath.Dir(above) {
			seen[above] = true
			if _, err := rooted.Lstat(filepath.Join(above, recordFile)); err != nil {
				continue
			}
			r, err := OpenRecord(above)
			if err != nil {
				continue
			}
			for _, at := range r.folders() {
				members[at.in(above)] = Member{Folder: above, Name: r.Name, Role: at.role}
			}
		}
	}
	return members
}

// within tells whether a folder is root or lies below it.
func within(root, dir string) bool {
	rel, err := filepath.Rel(root, dir)
	return err == nil && rel != ".." && !strings.HasPrefix(rel, ".."+string(filepath.Separator))
}

// coilFolder is one of a pair's coil folders.
type coilFolder struct{ role, path string }

// folders are those of the first coil, the second and both.
func (r Record) folders() [3]coilFolder {
	return [3]coilFolder{{First, r.First}, {Second, r.Second}, {Both, r.Both}}
}

// in is the folder itself, where that of the pair is dir.
func (f coilFolder) in(dir string) string {
	if filepath.IsAbs(f.path) {
		return filepath.Clean(f.path)
	}
	return filepath.Join(dir, filepath.FromSlash(f.path))
}
