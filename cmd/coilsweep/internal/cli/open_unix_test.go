//go:build !windows

package cli

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"coilsweep/cmd/coilsweep/internal/screen"
)

// The browser is started with the address, and what is missing is told.
func TestOpenPage(t *testing.T) {
	const url = "http://127.0.0.1:1/?key=k&x=1"
	folder := t.TempDir()
	t.Setenv("PATH", folder+":"+os.Getenv("PATH"))
	seen := filepath.Join(folder, "seen")
	script := "#!/bin/sh\nprintf %s \"$1\" >" + seen + ".new && mv " + seen + ".new " + seen + "\n"
	if err := os.WriteFile(filepath.Join(folder, screen.Opener(url)[0]), []byte(script), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := openPage(false, url); err != nil {
		t.Error(err)
	}
	if err := openPage(true, url); err != nil {
		t.Fatal(err)
	}
	for range 500 {
		if got, err := os.ReadFile(seen); err == nil {
			if string(got) != url {
				t.Errorf("the browser got %s", got)
			}
			t.Setenv("PATH", t.TempDir())
			if err := openPage(true, url); err == nil {
				t.Error("there is no browser, and no error")
			}
			return
		}
		time.Sleep(20 * time.Millisecond)
	}
	t.Error("the browser was not started")
}
