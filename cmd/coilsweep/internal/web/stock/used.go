// Package stock knows the parts that a page proposes: those that takes were made with, and
// those that somebody writes down as being at hand.
package stock

import (
	"context"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"github.com/BurntSushi/toml"

	"coilsweep/capture"
	"coilsweep/capture/atomicfile"
	"coilsweep/capture/rooted"
)

// Used knows which added parts the takes of all coils were made with. What
// it has read of a take it reads again only when that has changed.
type Used struct {
	mu    sync.Mutex
	takes map[string]usedPart // by the path of take.toml
}

type usedPart struct {
	changed time.Time
	Started time.Time `toml:"started"`
	Load    struct {
		AddedC string `toml:"added_c"`
		AddedR string `toml:"added_r"`
	} `toml:"load"`
}

// mostParts are as many as a page proposes.
const mostParts = 12

// Below are the parts of the coils below root, the latest first, as they were
// written.
func (u *Used) Below(ctx context.Context, root string) map[string][]string {
	parts := map[string][]string{"added_c": {}, "added_r": {}}
	dirs, _, err := capture.FindFolders(ctx, root)
	if err != nil {
		return parts
	}
	u.mu.Lock()
	defer u.mu.Unlock()
	was := u.takes
	u.takes = map[string]usedPart{}
	var all []usedPart
	for _, dir := range dirs {
		if info, err := rooted.Lstat(filepath.Join(dir, "takes")); err != nil || !info.IsDir() {
			continue
		}
		takes, _ := rooted.ReadDir(filepath.Join(dir, "takes"))
		for _, take := range takes {
			path := filepath.Join(dir, "takes", take.Name(), "take.toml")
			info, err := rooted.Stat(path)
			if err != nil {
				continue
			}
			part, known := was[path]
			if !known || !part.changed.Equal(info.ModTime()) {
				part = usedPart{}
				text, _ := atomicfile.Read(path, atomicfile.MaxText) // what cannot be read names no part
				toml.Unmarshal(text, &part)
				part.changed = info.ModTime()
			}
			u.takes[path] = part
			all = append(all, part)
		}
	}
	slices.SortStableFunc(all, func(a, b usedPart) int { return b.Started.Compare(a.Started) })
	add := func(kind, text string) {
		if text != "" && len(parts[kind]) < mostParts && !slices.Contains(parts[kind], text) {
			parts[kind] = append(parts[kind], text)
		}
	}
	for _, p := range all {
		add("added_c", p.Load.AddedC)
		add("added_r", p.Load.AddedR)
	}
	return parts
}
