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

// No data is no file: one that was made is removed while it is still the same.
func TestReplaceByNothing(t *testing.T) {
	path := filepath.Join(t.TempDir(), "parts.toml")
	if err := Replace(path, "", []byte("x")); err != nil {
		t.Fatal(err)
	}
	if err := Replace(path, Sum([]byte("y")), nil); !errors.Is(err, ErrChanged) {
		t.Errorf("another file: %v", err)
	}
	if text, err := os.ReadFile(path); err != nil || string(text) != "x" {
		t.Fatalf("the file that was changed meanwhile: %q, %v", text, err)
	}
	for _, sum := range []string{Sum([]byte("x")), ""} { // where there is none, none is left
		if err := Replace(path, sum, nil); err != nil {
			t.Errorf("%q: %v", sum, err)
		}
		if _, err := os.Lstat(path); !errors.Is(err, os.ErrNotExist) {
			t.Errorf("%q: the file is there: %v", sum, err)
		}
	}
}
