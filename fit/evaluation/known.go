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
	"time"

	"coilsweep/capture"
	"coilsweep/capture/atomicfile"
	"coilsweep/fit"
)

// The files that an evaluation leaves in a coil folder.
const (
	ResultFile   = "result.json"
	ResponseFile = "response.csv"
	ReportFile   = "report.html"
	CacheFile    = "fit.cache"
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
	Folder   string
	Coil     string
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
			of.CoilSHA256, of.Coil = r.Record.CoilSHA256, r.Coil
		}
	}
	s, err := capture.ReadSurvey(dir, of)
	if err != nil {
		return Known{}, err
	}
	k.Coil, k.Takes = s.Coil, len(s.Held.Takes)
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
	known, more, err := Glances(ctx, dirs)
	return known, append(unreadable, more...), err
}

// Glances is Glance for each of dirs; the error is the end of ctx.
func Glances(ctx context.Context, dirs []string) (known []Known, unreadable []error, err error) {
	type glance struct {
		Known
		err error
	}
	seen := make([]glance, len(dirs))
	Each(ctx, dirs, func(dir string) glance {
		k, err := Glance(dir)
		return glance{k, err}
	}, func(i int, g glance) { seen[i] = g })
	if ctx.Err() != nil {
		return nil, nil, ctx.Err()
	}
	for _, g := range seen {
		if g.err != nil {
			unreadable = append(unreadable, g.err)
			continue
		}
		known = append(known, g.Known)
	}
	return known, unreadable, nil
}
