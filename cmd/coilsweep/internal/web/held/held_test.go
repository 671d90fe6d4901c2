package held

import (
	"context"
	"errors"
	"path/filepath"
	"testing"

	"coilsweep/capture"
	"coilsweep/fit/evaluation"
)

// While one coil is evaluated another is answered; the same coil waits for it, and gives
// up with who asked.
func TestEvaluationsDoNotWaitForOthers(t *testing.T) {
	s := New(2, "test")
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
	if _, err := s.Get(t.Context(), other); !errors.As(err, &none) {
		t.Errorf("another coil: %v", err)
	}
	asked, give := context.WithCancel(t.Context())
	gone := make(chan error)
	go func() {
		_, err := s.Get(asked, one)
		gone <- err
	}()
	give()
	if err := <-gone; !errors.Is(err, context.Canceled) {
		t.Errorf("the same coil, given up: %v", err)
	}
	go func() {
		_, err := s.Get(t.Context(), one)
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
	s := New(8, "test")
	for _, dir := range []string{"/shop/a", "/shop/b", "/shop/c"} {
		s.held = append(s.held, &evaluation.Evaluation{Folder: &capture.Folder{Dir: dir}})
	}
	s.KeepOnly([]string{"/shop/b", "/shop/d"})
	if len(s.held) != 1 || s.held[0].Folder.Dir != "/shop/b" {
		t.Errorf("held: %v", s.held)
	}
}
