package capture

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A state is a coil folder of its own, begun from what is known of the coil; it is opened
// again by its name, and takes of another state are not its own.
func TestStates(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "bridge")
	if err := CreateFolder(dir, fullCoil(t)); err != nil {
		t.Fatal(err)
	}
	coil, err := OpenFolder(dir)
	if err != nil {
		t.Fatal(err)
	}
	if states, err := coil.States(); states != nil || err != nil {
		t.Errorf("states %q, %v", states, err)
	}
	if same, err := coil.InState(""); same != coil || err != nil {
		t.Errorf("the coil as first measured: %v", err)
	}
	potted, err := coil.InState("potted")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(potted.Dir); err == nil {
		t.Error("the folder is there before a take")
	}
	for range 2 { // the second time it is there
		if err := potted.StartState(); err != nil {
			t.Fatal(err)
		}
	}
	again, err := coil.InState("potted")
	if err != nil || again.Coil.State != "potted" || again.Coil.Meter != nil || again.Coil.DCR == nil ||
		again.Coil.Title() != coil.Coil.Name+", potted" {
		t.Errorf("%+v, %v", again, err)
	}
	if states, err := coil.States(); len(states) != 1 || states[0] != potted.Dir || err != nil {
		t.Errorf("states %q, %v", states, err)
	}
	if found, _, err := FindFolders(t.Context(), filepath.Dir(dir)); len(found) != 2 || err != nil {
		t.Errorf("found %q, %v", found, err)
	}
	for name, want := range map[string]string{"a/b": "use letters", strings.Repeat("x", 65): "at most 64", "con": "use letters"} {
		if _, err := coil.InState(name); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", name, err)
		}
	}
	if _, err := again.InState("waxed"); err == nil || !strings.Contains(err.Error(), "is the coil in the state") {
		t.Errorf("a state of a state: %v", err)
	}
	// A folder that says something else than its name.
	text, err := os.ReadFile(filepath.Join(potted.Dir, coilFile))
	if err != nil {
		t.Fatal(err)
	}
	text = []byte(strings.Replace(string(text), `"potted"`, `"boiled"`, 1))
	if err := os.WriteFile(filepath.Join(potted.Dir, coilFile), text, 0o666); err != nil {
		t.Fatal(err)
	}
	if _, err := coil.InState("potted"); err == nil || !strings.Contains(err.Error(), `says "boiled"`) {
		t.Errorf("another state in its folder: %v", err)
	}
}
