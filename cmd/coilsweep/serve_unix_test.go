//go:build !windows

package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"coilsweep/capture"
)

// Pipes in a coil's folder do not hold the page up.
func TestServeOddFiles(t *testing.T) {
	t.Parallel()
	root := t.TempDir()
	for _, name := range []string{"good", "coil", "take"} {
		if err := capture.CreateFolder(filepath.Join(root, name), capture.Coil{Name: name}); err != nil {
			t.Fatal(err)
		}
	}
	for _, path := range []string{"coil/coil.toml", "take/takes/x/take.toml"} {
		path = filepath.Join(root, path)
		os.Remove(path)
		if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o777), syscall.Mkfifo(path, 0o666)); err != nil {
			t.Fatal(err)
		}
	}
	s := serve(t, root, false)
	done := make(chan string)
	go func() { done <- fmt.Sprint(s.gets("GET", "/api/coils", nil)) }()
	select {
	case got := <-done:
		if !strings.Contains(got, "good") || !strings.Contains(got, "coil.toml: not a plain file") {
			t.Errorf("the list: %s", got)
		}
	case <-time.After(patience):
		t.Fatal("the list waits for a pipe")
	}
}
