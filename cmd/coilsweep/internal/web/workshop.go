// Package web is the bench page: what it asks for, and what it is answered. The
// work is done by package workbench; package site guards the door.
package web

import (
	"context"
	"errors"
	"net/http"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"coilsweep/capture"
	"coilsweep/capture/benchfile"
	"coilsweep/capture/device"
	"coilsweep/capture/rooted"
	"coilsweep/cmd/coilsweep/internal/web/borrowed"
	"coilsweep/cmd/coilsweep/internal/web/held"
	"coilsweep/cmd/coilsweep/internal/web/listed"
	"coilsweep/cmd/coilsweep/internal/web/site"
	"coilsweep/cmd/coilsweep/internal/web/stock"
	"coilsweep/cmd/coilsweep/internal/web/swept"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/fit/evaluation"
)

// workshop is what the bench page works on: the coils below a folder, a bench,
// and what goes on there.
type workshop struct {
	Options
	server     *site.Server
	device     *device.Engine
	release    func() // the root from being confined
	coils      *held.Evaluations
	glances    evaluation.Glances
	list       listed.Told
	parts      stock.Used
	ctx        context.Context // ends with the page
	background sync.WaitGroup

	// editing is held while coil.toml and bench.toml are read and changed.
	editing sync.Mutex
	saving  sync.Mutex // held while a result is written
	// importing has room for one import, fitOne for one fit.
	importing, fitOne chan struct{}

	mu        sync.Mutex
	kind      string             // "soundcard" or "virtual"
	jobs      map[string]jobInfo // by the name of the engine's job
	engine    engineState
	heard     bool             // the device that is listened to now was there once
	trials    map[string]trial // the last of each kind
	sweep     swept.Take
	live      swept.Live
	growing   growing
	fits      map[string]*fitting  // by coil
	connected map[string]connected // by coil: for the take that was started last
	notes     []note
	made      []string // links to pages that are on no disk, the latest last
	revision  int
	jobsDone  int
}

// note is something that was said, for who was not listening.
type note struct {
	At    time.Time
	Grade string // "note" or "error"
	Text  string
}

const mostNotes = 50

// Options say what is served, and how.
type Options struct {
	Root        string   // the folder that holds the coil folders: its whole path
	Listen      string   // address and port
	Hosts       []string // further names that the page may be opened by
	Key         string   // of earlier starts; empty: a new one
	Bench       string   // what plays and records at first
	VirtualFile string   // description of the simulated bench; empty: an invented one
	Seed        uint64
	Program     string            // what takes and results are said to be made by
	Warn        func(text string) // hears on the terminal what the page may not live to show
}

// Server is the bench page.
type Server struct{ w *workshop }

// New makes ready: the address is taken, and nothing is answered yet.
func New(o Options) (*Server, error) {
	w := &workshop{
		Options: o, kind: o.Bench, coils: held.New(8, o.Program),
		jobs: map[string]jobInfo{}, trials: map[string]trial{}, fits: map[string]*fitting{},
		connected: map[string]connected{},
		importing: make(chan struct{}, 1), fitOne: make(chan struct{}, 1),
	}
	var err error
	if w.release, err = rooted.Confine(o.Root); err != nil {
		return nil, err
	}
	if w.server, err = site.New(site.Options{
		Root: o.Root, Static: borrowed.Files{}, Listen: o.Listen, Hosts: o.Hosts, Key: o.Key,
		Fault: o.Warn,
	}); err != nil {
		w.release()
		return nil, err
	}
	w.device = device.New(w.listener())
	w.route()
	return &Server{w}, nil
}

// URL is the address of the page, with its key; OtherURLs are those by which
// other machines may reach it.
func (s *Server) URL() string { return s.w.server.URL() }

// OtherURLs are the addresses for other machines; none where it cannot be reached
// from them.
func (s *Server) OtherURLs() []string { return s.w.server.OtherURLs() }

// TabletURL is the address for a tablet beside this machine; empty: only this machine can
// open the page.
func (s *Server) TabletURL() string { return s.w.server.TabletURL() }

// Serve answers until ctx ends: then a take under way is ended and kept.
func (s *Server) Serve(ctx context.Context) error { return s.w.serve(ctx) }

// serve works until ctx ends: then a take under way is ended and kept.
func (w *workshop) serve(ctx context.Context) error {
	ctx, end := context.WithCancel(ctx)
	defer end()
	w.ctx = ctx
	w.publishNotes()
	w.listen()
	w.background.Go(func() {
		if err := w.device.Run(ctx); err != nil && ctx.Err() == nil {
			w.Warn(err.Error())
		}
	})
	w.background.Go(func() { w.watch(ctx) })
	err := w.server.Serve(ctx)
	end()
	w.background.Wait()
	w.release()
	if errors.Is(err, context.Canceled) {
		err = nil
	}
	return err
}

// ears have the page note what a job has to say.
func (w *workshop) ears() workbench.Ears {
	return workbench.Ears{Warn: func(text string) { w.note("note", text) }}
}

func (w *workshop) note(grade, text string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.notes = append(w.notes, note{time.Now(), grade, text})
	w.notes = append([]note{}, w.notes[max(0, len(w.notes)-mostNotes):]...)
	w.publishNotes()
}

// remark notes what is unusual among the options of a form.
func (w *workshop) remark(o workbench.Options) {
	for _, text := range o.Unusual(false) {
		w.note("note", workbench.ForPage(text))
	}
}

// publishNotes tells what was said, the latest first.
func (w *workshop) publishNotes() {
	latest := slices.Clone(w.notes)
	slices.Reverse(latest)
	w.publish("notes", shows{HTML: places{"notes": fragment("notes", latest)}})
}

func (w *workshop) publish(topic string, v any) { w.server.Events().Publish(topic, v) }

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

// servedDir is the folder of a coil, which a page names by its path below the
// root with slashes.
func (w *workshop) servedDir(coil string) (string, error) {
	dir, err := site.Confine(w.Root, coil)
	if err != nil {
		return "", err
	}
	// What is in it must not lead out either.
	if info, err := rooted.Lstat(filepath.Join(dir, "takes")); err == nil && !info.IsDir() {
		return "", site.Errorf(http.StatusForbidden,
			"the takes of %s are no plain folder: only what is in the folder itself is served", coil)
	}
	if info, err := rooted.Lstat(filepath.Join(dir, "coil.toml")); err != nil || !info.Mode().IsRegular() {
		return "", &site.Error{Status: http.StatusNotFound, Text: "there is no coil " + coil, Field: "coil"}
	}
	return dir, nil
}

// coilDir is servedDir, after what was left there was mended.
func (w *workshop) coilDir(coil string) (string, error) {
	dir, err := w.servedDir(coil)
	if err == nil {
		w.mend(dir)
	}
	return dir, err
}

// mend finishes what a stopped program had begun in coil folders, and notes it.
func (w *workshop) mend(dirs ...string) {
	for _, said := range capture.Mend(dirs...) {
		// What fails once fails at each call.
		w.mu.Lock()
		told := slices.ContainsFunc(w.notes, func(n note) bool { return n.Text == said })
		w.mu.Unlock()
		if !told {
			w.note("note", said)
		}
	}
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
	rel, err := filepath.Rel(w.Root, dir)
	if err != nil {
		return dir
	}
	return filepath.ToSlash(rel)
}

// benchPath is the bench.toml of the bench that was chosen, for a folder; "none" where
// there is none.
func (w *workshop) benchPath(dir string) string {
	if !w.isSimulated() {
		return w.realBenchPath(dir)
	} else if _, err := rooted.Lstat(w.benchFile()); err != nil {
		return workbench.NoBenchFile
	}
	return w.benchFile()
}

// realBenchPath is the bench.toml that belongs to a folder: its own, or the next above it
// up to the root that is served; "none" where there is none.
func (w *workshop) realBenchPath(dir string) string {
	for {
		path := filepath.Join(dir, benchfile.FileName)
		if info, err := rooted.Lstat(path); err == nil && info.Mode().IsRegular() {
			return path
		}
		above := filepath.Dir(dir)
		if dir == w.Root || above == dir {
			return workbench.NoBenchFile
		}
		dir = above
	}
}
