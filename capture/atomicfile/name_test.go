package atomicfile

import "testing"

func TestNameTrouble(t *testing.T) {
	for name, good := range map[string]bool{
		"con": false, "Con": false, "CON.toml": false, "nul": false, "com1": false, "LPT9.x": false, "bridge.": false,
		"bridge ": false, "aux .txt": false,
		"bridge": true, "console": true, "com": true, "com10": true, "a.con": true, "lpt": true, "comb": true,
	} {
		if got := NameTrouble(name); (got == "") != good {
			t.Errorf("%q: %s", name, got)
		}
	}
}
