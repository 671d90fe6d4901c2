package pair

import (
	"os"
	"path/filepath"
	"testing"

	"coilsweep/capture"
)

// Folders of pairs are known by the pair.toml above them, wherever it says that they lie.
func TestMembers(t *testing.T) {
	root := t.TempDir()
	at := func(parts ...string) string { return filepath.Join(append([]string{root}, parts...)...) }
	for _, dir := range []string{at("shop", "bridge"), at("elsewhere"), at("broken"), at("above")} {
		if err := os.MkdirAll(filepath.Dir(dir), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := Create(dir, filepath.Base(dir), [2]capture.Coil{{Name: "screws"}, {Name: "slugs"}}); err != nil {
			t.Fatal(err)
		}
	}
	write := func(dir, text string) {
		if err := os.WriteFile(filepath.Join(dir, recordFile), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	r, err := OpenRecord(at("elsewhere"))
	if err != nil {
		t.Fatal(err)
	}
	r.Both = "../lone"
	write(at("elsewhere"), string(r.encode()))
	write(at("broken"), "schema = 3")
	dirs := []string{at("shop", "bridge", First), at("shop", "bridge", Second), at("shop", "bridge", Both), at("lone"),
		at("elsewhere", First), at("elsewhere", Both), at("broken", Both), at("shop", "other"), root + "2"}
	want := map[string]Member{
		dirs[0]: {at("shop", "bridge"), "bridge", First}, dirs[1]: {at("shop", "bridge"), "bridge", Second},
		dirs[2]: {at("shop", "bridge"), "bridge", Both}, dirs[3]: {at("elsewhere"), "elsewhere", Both},
		dirs[4]: {at("elsewhere"), "elsewhere", First},
	}
	got := Members(root, dirs)
	for _, dir := range dirs {
		if got[dir] != want[dir] {
			t.Errorf("%s is %+v, want %+v", dir, got[dir], want[dir])
		}
	}
	// What lies above the root is not looked at.
	if got := Members(at("shop", "bridge", First), dirs[:1]); len(got) != 0 {
		t.Errorf("from above the root: %+v", got)
	}
}
