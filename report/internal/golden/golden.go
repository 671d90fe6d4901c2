// Package golden compares what a test has made with a file in its testdata.
package golden

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "write the golden files anew")

// Same compares got with testdata/name; a difference leaves got beside it.
func Same(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		if err := os.WriteFile(path+".got", got, 0o644); err != nil {
			t.Error(err)
		}
		t.Errorf("%s differs (-want +got):\n%s", path, cmp.Diff(string(want), string(got)))
	}
}
