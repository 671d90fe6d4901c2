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
	return load(dir, func(text []byte) (*fit.Result, error) {
		r := new(fit.Result)
		return r, json.Unmarshal(text, r)
	})
}

// load is Load by what reads a result.json.
func load(dir string, read func(text []byte) (*fit.Result, error)) (*fit.Result, error) {
	path := filepath.Join(dir, ResultFile)
	data, err := atomicfile.Read(path, maxResult)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	} else if err != nil {
		return nil, err
	}
	r, err := read(data)
	if err != nil {
		return nil, fmt.Errorf("%s: %w: fit the coil again", path, err)
	}
	return r, nil
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
	capture.CoilHeading
	Measured time.Time // of the latest take; zero: no take yet
	Takes    int
	Flags    []string    // of all takes, each once, and FlagContradicted
	Result   *fit.Result // fit.Heading; nil: not fitted yet
	Stale    []string    // why Result is out of date; none: it is up to date
}

// FlagContradicted is that of a coil whose takes contradict what was stated.
const FlagContradicted capture.Flag = "contradicted"

// Glance reads the state of one coil folder. A damaged result counts as none.
func Glance(dir string) (Known, error) {
	k := Known{Folder: dir}
	var err error
	if k.Result, err = load(dir, fit.Heading); err != nil {
		k.Result = nil
	}
	var of capture.Remembered
	if r := k.Result; r != nil && r.Record != nil {
		// Takes that were read when the coil was fitted need not be read again, nor coil.toml.
		of.Take = func(h capture.TakeFingerprint) (capture.TakeHeading, bool) {
			t, ok := r.Record.Take(h)
			if !ok || t.Started == nil {
				return capture.TakeHeading{}, false
			}
			return capture.TakeHeading{Started: *t.Started, Flags: t.Flags}, true
		}
		if r.Record.Analysis == fit.Analysis {
			of.CoilSHA256 = r.Record.CoilSHA256
			of.Coil = capture.CoilHeading{Coil: r.Coil, CoilState: r.CoilState, Serial: r.Serial, Lot: r.Lot,
				Customer: r.Customer}
		}
	}
	s, err := capture.ReadSurvey(dir, of)
	if err != nil {
		return Known{}, err
	}
	k.CoilHeading, k.Takes = s.CoilHeading, len(s.Held.Takes)
	flag := func(name capture.Flag) {
		if !slices.Contains(k.Flags, string(name)) {
			k.Flags = append(k.Flags, string(name))
		}
	}
	if k.Result != nil {
		if k.Stale = k.Result.Stale(s.Held); len(k.Result.Contradicted) > 0 {
			flag(FlagContradicted)
		}
	}
	for _, heading := range s.Headings {
		if heading.Err != nil {
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
	dirs, unreadable, err := capture.FindFolders(ctx, root)
	if err != nil {
		return nil, nil, err
	}
	known, more, err := GlanceAll(ctx, dirs)
	return known, append(unreadable, more...), err
}

// GlanceAll is Glance for each of dirs; the error is the end of ctx.
func GlanceAll(ctx context.Context, dirs []string) (known []Known, unreadable []error, err error) {
	seen := glances(ctx, dirs, func(dir string) glance {
		k, err := Glance(dir)
		return glance{Known: k, err: err}
	})
	known, unreadable = apart(seen)
	return known, unreadable, ctx.Err()
}

// glance is what Glance said of a folder.
type glance struct {
	Known
	err   error
	stamp string
}

// glances are those of dirs, side by side, as far as ctx lets them.
func glances(ctx context.Context, dirs []string, read func(dir string) glance) []glance {
	seen := make([]glance, len(dirs))
	Each(ctx, dirs, read, func(i int, one glance) { seen[i] = one })
	return seen
}

// apart are the states that were read, and why others were not.
func apart(seen []glance) (known []Known, unreadable []error) {
	for _, one := range seen {
		if one.err != nil {
			unreadable = append(unreadable, one.err)
			continue
		}
		known = append(known, one.Known)
	}
	return known, unreadable
}

// Glances remembers the states of coil folders, and reads again those in which a file has
// another time or size than it had. The zero value remembers none.
type Glances struct {
	mu   sync.Mutex
	last map[string]glance // by folder
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
	seen := glances(ctx, dirs, func(dir string) glance {
		now := stamp(dir) // before the files are read: what changes meanwhile is seen next time
		if old, ok := last[dir]; ok && old.stamp == now {
			return old
		}
		k, err := Glance(dir)
		return glance{k, err, now}
	})
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
	known, more := apart(seen)
	return known, append(unreadable, more...), nil
}
