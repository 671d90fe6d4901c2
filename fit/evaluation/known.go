package evaluation

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"coilsweep/capture"
	"coilsweep/capture/atomicfile"
	"coilsweep/capture/rooted"
	"coilsweep/fit"
)

// The files that an evaluation leaves in a coil folder.
const (
	ResultFile   = "result.json"
	ResponseFile = "response.csv"
	ReportFile   = "report.html"
	// CertificateFile is written where it is asked for.
	CertificateFile = "certificate.html"
	CacheFile       = "fit.cache"
)

// maxResult is more than any result.json needs.
const maxResult = 1 << 26

// Load reads the result.json of a coil folder; nil where there is none.
func Load(dir string) (*fit.Result, error) {
	path := filepath.Join(dir, ResultFile)
	data, err := atomicfile.Read(path, maxResult)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	} else if err != nil {
		return nil, err
	}
	var r fit.Result
	if err := json.Unmarshal(data, &r); err != nil {
		return nil, fmt.Errorf("%s: %w: fit the coil again", path, err)
	}
	return &r, nil
}

// Save writes the files of an evaluation into the coil folder: fit.cache, where
// it has a circuit, response.csv, which response fills, and result.json last,
// since an existing result that is up to date counts as done.
func (e *Evaluation) Save(response func(io.Writer) error) error {
	if err := e.writeCache(); err != nil {
		return err
	}
	if err := e.Write(ResponseFile, response); err != nil {
		return err
	}
	return e.Write(ResultFile, e.Result.Encode)
}

// Write makes a file in the coil folder, whole or not at all.
func (e *Evaluation) Write(name string, fill func(io.Writer) error) error {
	return atomicfile.Fill(filepath.Join(e.Folder.Dir, name), fill)
}

// Known is the state of a coil folder, read without evaluating it.
type Known struct {
	Folder string
	Coil   string // with its state
	// CoilState is what was done to the coil since it was first measured; empty: nothing.
	CoilState string
	// Serial, Lot and Customer are as coil.toml states them now.
	Serial, Lot, Customer string
	Measured              time.Time // of the latest take; zero: no take yet
	Takes                 int
	Flags                 []string    // of all takes, each once, and FlagContradicted
	Result                *fit.Result // nil: not fitted yet
	Stale                 []string    // why Result is out of date; none: it is up to date
}

// FlagContradicted is that of a coil whose takes contradict what was stated.
const FlagContradicted capture.Flag = "contradicted"

// Glance reads the state of one coil folder. A damaged result counts as none.
func Glance(dir string) (Known, error) {
	folder, err := capture.OpenFolder(dir)
	if err != nil {
		return Known{}, err
	}
	held, err := folder.Fingerprint()
	if err != nil {
		return Known{}, fmt.Errorf("%s: %w", dir, err)
	}
	coil := folder.Coil
	k := Known{Folder: dir, Coil: coil.Title(), CoilState: coil.State, Serial: coil.Serial, Lot: coil.Lot,
		Customer: coil.Customer, Takes: len(held.Takes)}
	var record *fit.Record
	if k.Result, err = Load(dir); err == nil && k.Result != nil {
		k.Stale = k.Result.Stale(held)
		record = k.Result.Record
	}
	flag := func(name capture.Flag) {
		if !slices.Contains(k.Flags, string(name)) {
			k.Flags = append(k.Flags, string(name))
		}
	}
	if k.Result != nil && len(k.Result.Contradicted) > 0 {
		flag(FlagContradicted)
	}
	for _, h := range held.Takes {
		// Takes that were read when the coil was fitted need not be read again.
		var heading capture.TakeHeading
		if t, ok := record.Take(h); ok && t.Started != nil {
			heading = capture.TakeHeading{Started: *t.Started, Flags: t.Flags}
		} else if heading, err = folder.ReadHeading(h.Name); err != nil {
			flag(FlagUnreadable)
			continue
		}
		if heading.Started.After(k.Measured) {
			k.Measured = heading.Started
		}
		for _, name := range heading.Flags {
			flag(name)
		}
	}
	return k, nil
}

// List is the state of every coil folder at and below root, in lexical order.
// Folders that cannot be read are in unreadable; err is for root itself and for
// the end of ctx.
func List(ctx context.Context, root string) (known []Known, unreadable []error, err error) {
	return new(Glances).List(ctx, root)
}

// Glances remembers the states of coil folders, and reads again those in which a file has
// another time or size than it had. The zero value remembers none.
type Glances struct {
	mu   sync.Mutex
	last map[string]glance // by folder
}

type glance struct {
	Known
	err   error
	stamp string
}

// stamp changes with what Glance reads.
func stamp(dir string) string {
	files := []string{"coil.toml", ResultFile}
	if takes, err := rooted.ReadDir(filepath.Join(dir, capture.TakesDir)); err == nil {
		for _, take := range takes {
			files = append(files, filepath.Join(capture.TakesDir, take.Name(), capture.TakeFile))
		}
	}
	var b strings.Builder
	for _, name := range files {
		if info, err := rooted.Lstat(filepath.Join(dir, name)); err == nil {
			fmt.Fprintf(&b, "%s %x %x\n", name, info.ModTime().UnixNano(), info.Size())
		}
	}
	return b.String()
}

// List is List with what is remembered.
func (g *Glances) List(ctx context.Context, root string) (known []Known, unreadable []error, err error) {
	dirs, unreadable, err := capture.FindFolders(ctx, root)
	if err != nil {
		return nil, nil, err
	}
	g.mu.Lock()
	last := g.last
	g.mu.Unlock()
	seen := make([]glance, len(dirs))
	Each(ctx, dirs, func(dir string) glance {
		now := stamp(dir) // before the files are read: what changes meanwhile is seen next time
		if old, ok := last[dir]; ok && old.stamp == now {
			return old
		}
		k, err := Glance(dir)
		return glance{k, err, now}
	}, func(i int, one glance) { seen[i] = one })
	if ctx.Err() != nil {
		return nil, nil, ctx.Err()
	}
	next := map[string]glance{}
	for i, dir := range dirs {
		next[dir] = seen[i]
	}
	g.mu.Lock()
	g.last = next
	g.mu.Unlock()
	for _, one := range seen {
		if one.err != nil {
			unreadable = append(unreadable, one.err)
			continue
		}
		known = append(known, one.Known)
	}
	return known, unreadable, nil
}
