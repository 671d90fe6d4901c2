package atomicfile

import (
	"errors"
	"os"
	"path/filepath"
	"testing"
)

func TestReplace(t *testing.T) {
	path := filepath.Join(t.TempDir(), "coil.toml")
	// SHA-256 of "abc" is an example of FIPS 180-4 (from memory).
	const abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
	for _, step := range []struct {
		sum, data string
		refused   bool
	}{
		{abc, "x", true}, // there is none yet
		{"", "abc", false},
		{"", "x", true},
		{abc, "def", false},
		{abc, "x", true},
	} {
		before, _ := os.ReadFile(path)
		err := Replace(path, step.sum, []byte(step.data))
		if errors.Is(err, ErrChanged) != step.refused || !step.refused && err != nil {
			t.Fatalf("%+v: %v", step, err)
		}
		want := step.data
		if step.refused {
			want = string(before)
		}
		if got, _ := os.ReadFile(path); string(got) != want {
			t.Fatalf("%+v: the file holds %q", step, got)
		}
	}
}
