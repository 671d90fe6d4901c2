package web

import (
	"context"
	"errors"
	"path/filepath"
	"testing"

	"coilsweep/capture"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/fit/evaluation"
)

// While one coil is evaluated another is answered; the same coil waits for it, and gives
// up with who asked.
func TestEvaluationsDoNotWaitForOthers(t *testing.T) {
	s := newEvaluations(2, "test")
	root := t.TempDir()
	one, other := filepath.Join(root, "one"), filepath.Join(root, "other")
	for _, dir := range []string{one, other} {
		if err := capture.CreateFolder(dir, capture.Coil{Name: "x"}); err != nil {
			t.Fatal(err)
		}
	}
	end, err := s.wait(t.Context(), one)
	if err != nil {
		t.Fatal(err)
	}
	var none *evaluation.NoTakeError
	if _, err := s.get(t.Context(), other); !errors.As(err, &none) {
		t.Errorf("another coil: %v", err)
	}
	asked, give := context.WithCancel(t.Context())
	gone := make(chan error)
	go func() {
		_, err := s.get(asked, one)
		gone <- err
	}()
	give()
	if err := <-gone; !errors.Is(err, context.Canceled) {
		t.Errorf("the same coil, given up: %v", err)
	}
	go func() {
		_, err := s.get(t.Context(), one)
		gone <- err
	}()
	end()
	if err := <-gone; !errors.As(err, &none) {
		t.Errorf("the same coil, in its turn: %v", err)
	}
	if len(s.busy) > 0 {
		t.Errorf("turns are left: %v", s.busy)
	}
}

// What is held of a coil goes with its folder.
func TestEvaluationsOfCoilsThatAreGone(t *testing.T) {
	s := newEvaluations(8, "test")
	for _, dir := range []string{"/shop/a", "/shop/b", "/shop/c"} {
		s.held = append(s.held, &evaluation.Evaluation{Folder: &capture.Folder{Dir: dir}})
	}
	s.keepOnly([]string{"/shop/b", "/shop/d"})
	if len(s.held) != 1 || s.held[0].Folder.Dir != "/shop/b" {
		t.Errorf("held: %v", s.held)
	}
}

// An import waits while there is another, and gives up with who asked.
func TestImportsGoOneByOne(t *testing.T) {
	w := &workshop{importing: make(chan struct{}, 1)}
	w.importing <- struct{}{}
	asked, give := context.WithCancel(t.Context())
	give()
	if _, err := w.importAlone(asked, workbench.NewImport("test"), t.TempDir()); !errors.Is(err, context.Canceled) {
		t.Errorf("beside another: %v", err)
	}
	<-w.importing
	_, err := w.importAlone(t.Context(), workbench.NewImport("test"), t.TempDir())
	if option, ok := errors.AsType[*workbench.OptionError](err); !ok || option.Option != "take" || len(w.importing) > 0 {
		t.Errorf("alone: %v", err)
	}
}
