package keyfile

import (
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

func TestKeptKey(t *testing.T) {
	path := filepath.Join(t.TempDir(), "key")
	key, err := Kept(path)
	if err != nil || len(key) != 26 {
		t.Fatalf("a new key: %q, %v", key, err)
	}
	if again, err := Kept(path); err != nil || again != key {
		t.Errorf("at the next start: %q, %v; want %q", again, err, key)
	}
	if runtime.GOOS != "windows" {
		if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("%v, %v", info.Mode(), err)
		}
		for _, mode := range []os.FileMode{0o644, 0o640, 0o604} {
			if err := os.Chmod(path, mode); err != nil {
				t.Fatal(err)
			}
			if _, err := Kept(path); err == nil || !strings.Contains(err.Error(), "others can read") {
				t.Errorf("a key that others can read: %v", err)
			}
		}
	}
	for _, text := range []string{"", "short", strings.Repeat("k", 26) + "\nand more", "<script>aaaaaaaaaaaaaaaaaaaaaaaa"} {
		bad := filepath.Join(t.TempDir(), "key")
		if err := os.WriteFile(bad, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if got, err := Kept(bad); err == nil {
			t.Errorf("%q is taken for the key %q", text, got)
		}
		if left, _ := os.ReadFile(bad); string(left) != text {
			t.Errorf("the file is now %q", left)
		}
	}
	if _, err := Kept(t.TempDir()); err == nil {
		t.Error("a folder is taken for a key")
	}
}
