package capture

import (
	"path/filepath"
	"testing"
)

func TestCheckFileName(t *testing.T) {
	for name, good := range map[string]bool{
		"con": false, "Con": false, "CON.toml": false, "nul": false, "com1": false, "LPT9.x": false, "bridge.": false,
		"bridge ": false, "aux .txt": false,
		"bridge": true, "console": true, "com": true, "com10": true, "a.con": true, "lpt": true, "comb": true,
	} {
		if err := CheckFileName(name); (err == nil) != good {
			t.Errorf("%q: %v", name, err)
		}
		if err := CreateFolder(filepath.Join(t.TempDir(), name), Coil{Name: "x"}); (err == nil) != good {
			t.Errorf("a coil folder %q: %v", name, err)
		}
	}
	if err := CheckTakeName("nul"); err == nil {
		t.Error("a take may be called nul")
	}
	if err := CheckTakeName("bare"); err != nil {
		t.Error(err)
	}
}
