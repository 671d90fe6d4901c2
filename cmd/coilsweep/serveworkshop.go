package main

import (
	"context"
	"errors"
	"net/http"
	"os"
	"path/filepath"
	"sync"
	"time"

	"coilsweep/capture"
	"coilsweep/capture/benchfile"
	"coilsweep/capture/device"
	"coilsweep/cmd/coilsweep/benchpage"
)

// workshop is what the bench page works on: the coils below a folder, a bench,
// and what goes on there.
type workshop struct {
	c           *console // the terminal
	root        string
	virtualFile string
	seed        uint64
	page        *benchpage.Server
	engine      *device.Engine
	coils       *analyses
	parts       usedParts
	ctx         context.Context // ends with the page
	background  sync.WaitGroup

	// editing is held while coil.toml and bench.toml are read and changed.
	editing sync.Mutex
	saving  sync.Mutex // held while a result is written

	mu       sync.Mutex
	kind     string             // "soundcard" or "virtual"
	jobs     map[string]jobInfo // by the name of the engine's job
	trials   map[string]trial   // check, calibrate, fixture: the last of each
	sweep    sweep
	growing  growing
	fits     map[string]*fitting // by coil
	notes    []note
	made     []string // links to pages that are on no disk, the latest last
	revision int
	jobsDone int
}

// note is something that was said, for who was not listening.
type note struct {
	At    time.Time `json:"at"`
	Grade string    `json:"grade"` // "note" or "error"
	Text  string    `json:"text"`
}

const mostNotes = 50

func newWorkshop(c *console, root string, o *serving) (*workshop, error) {
	w := &workshop{
		c: c, root: root, virtualFile: o.virtualFile, seed: o.seed, kind: o.bench, coils: newAnalyses(8),
		jobs: map[string]jobInfo{}, trials: map[string]trial{}, fits: map[string]*fitting{},
	}
	if w.virtualFile != "" {
		abs, err := filepath.Abs(w.virtualFile)
		if err != nil {
			return nil, err
		}
		w.virtualFile = abs
	}
	var err error
	if w.page, err = benchpage.New(benchpage.Options{
		Root: root, Static: pageFiles{}, Listen: o.listen, Hosts: o.hosts, Fault: func(text string) { c.warn("%s", text) },
	}); err != nil {
		return nil, err
	}
	w.engine = device.New(w.listener())
	w.route()
	return w, nil
}

// serve works until ctx ends: then a take under way is ended and kept.
func (w *workshop) serve(ctx context.Context) error {
	ctx, end := context.WithCancel(ctx)
	defer end()
	w.ctx = ctx
	w.publish("notes", w.notes)
	w.listen()
	w.background.Go(func() {
		if err := w.engine.Run(ctx); err != nil && ctx.Err() == nil {
			w.c.warn("%v", err)
		}
	})
	err := w.page.Serve(ctx)
	end()
	w.background.Wait()
	if errors.Is(err, context.Canceled) {
		err = nil
	}
	return err
}

// console hears for the page: what commands print as warnings are notes there.
func (w *workshop) console() *console {
	return &console{out: discard{}, err: discard{}, hear: func(text string) { w.note("note", text) }}
}

type discard struct{}

func (discard) Write(b []byte) (int, error) { return len(b), nil }

func (w *workshop) note(grade, text string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.notes = append(w.notes, note{time.Now(), grade, text})
	w.notes = append([]note{}, w.notes[max(0, len(w.notes)-mostNotes):]...)
	w.publish("notes", w.notes)
}

func (w *workshop) publish(topic string, v any) { w.page.Events().Publish(topic, v) }

// changed tells all pages that what is behind a topic has changed.
func (w *workshop) changed(topics ...string) {
	for _, topic := range topics {
		w.publish(topic, map[string]any{"revision": w.nextRevision()})
	}
}

// coilChanged tells all pages that a coil has changed, and with it the list.
func (w *workshop) coilChanged(coil string) {
	w.publish("coil", map[string]any{"coil": coil, "revision": w.nextRevision()})
	w.changed("coils")
}

func (w *workshop) nextRevision() int {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.revision++
	return w.revision
}

// coilDir is the folder of a coil, which a page names by its path below the
// root with slashes.
func (w *workshop) coilDir(coil string) (string, error) {
	dir, err := benchpage.Confine(w.root, coil)
	if err != nil {
		return "", err
	}
	// What is in it must not lead out either.
	if info, err := os.Lstat(filepath.Join(dir, "takes")); err == nil && !info.IsDir() {
		return "", benchpage.Errorf(http.StatusForbidden, "the takes of %s are no plain folder: only what is in the folder itself is served", coil)
	}
	if info, err := os.Lstat(filepath.Join(dir, "coil.toml")); err != nil || !info.Mode().IsRegular() {
		return "", &benchpage.Error{Status: http.StatusNotFound, Text: "there is no coil " + coil, Field: "coil"}
	}
	return dir, nil
}

func (w *workshop) openCoil(coil string) (*capture.Folder, error) {
	dir, err := w.coilDir(coil)
	if err != nil {
		return nil, err
	}
	return capture.OpenFolder(dir)
}

// coilOf is how a page names a coil folder.
func (w *workshop) coilOf(dir string) string {
	rel, err := filepath.Rel(w.root, dir)
	if err != nil {
		return dir
	}
	return filepath.ToSlash(rel)
}

// benchPath is the bench.toml that belongs to a folder: its own, that above it,
// or that of the root, and none outside of the root; "none" where there is
// none.
func (w *workshop) benchPath(dir string) string {
	dirs := []string{dir, w.root}
	if dir != w.root {
		dirs = []string{dir, filepath.Dir(dir), w.root}
	}
	for _, d := range dirs {
		path := filepath.Join(d, benchfile.FileName)
		if info, err := os.Lstat(path); err == nil && info.Mode().IsRegular() {
			return path
		}
	}
	return noBenchFile
}
