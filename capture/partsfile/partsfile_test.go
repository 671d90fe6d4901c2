package partsfile

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

func TestChange(t *testing.T) {
	text, err := Change(nil, []string{"470p 1%", "998p 0.3% U95"}, []string{"220k 1%"})
	if err != nil {
		t.Fatal(err)
	}
	p, err := Decode(text)
	if err != nil || !slices.Equal(Texts(p.Capacitors), []string{"470p 1%", "998p 0.3% U95"}) ||
		!slices.Equal(Texts(p.Resistors), []string{"220k 1%"}) {
		t.Errorf("%s\nis %+v, %v", text, p, err)
	}
	// What somebody wrote beside stays, also where a list goes over several lines.
	mine := strings.Replace(string(text), "\nresistors", "\n# from the blue box\nresistors", 1)
	mine = strings.Replace(mine, `["470p 1%", `, "[\n  \"470p 1%\", # film\n  ", 1)
	text, err = Change([]byte(mine), []string{"1n 1%"}, nil)
	if err != nil || !strings.Contains(string(text), "# from the blue box") {
		t.Errorf("%s: %v", text, err)
	}
	if p, err = Decode(text); err != nil || !slices.Equal(Texts(p.Capacitors), []string{"1n 1%"}) || len(p.Resistors) != 0 {
		t.Errorf("%s\nis %+v, %v", text, p, err)
	}
	for part, says := range map[string]string{"steam": "steam", "470 1%": "470", "4,7n": "4,7n"} {
		if _, err := Change(nil, []string{part}, nil); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %v", part, err)
		}
	}
	for _, text := range []string{"", "schema = \"x\"\n", header + "coils = 3\n", header + "resistors = 3\n"} {
		if _, err := Decode([]byte(text)); err == nil {
			t.Errorf("%q is read", text)
		}
	}
}

func TestFind(t *testing.T) {
	root := t.TempDir()
	coil := filepath.Join(root, "shop", "coil")
	if err := os.MkdirAll(coil, 0o777); err != nil {
		t.Fatal(err)
	}
	if p, err := Find(coil); err != nil || len(p.Capacitors) != 0 {
		t.Errorf("no file: %+v, %v", p, err)
	}
	text, err := Change(nil, []string{"1n 1%"}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := Replace(filepath.Join(root, FileName), "", text); err != nil {
		t.Fatal(err)
	}
	if p, err := Find(coil); err != nil || len(p.Capacitors) != 1 {
		t.Errorf("a file above: %+v, %v", p, err)
	}
	if err := os.WriteFile(filepath.Join(coil, FileName), []byte("colour = 3"), 0o666); err != nil {
		t.Fatal(err)
	}
	if _, err := Find(coil); err == nil || !strings.Contains(err.Error(), filepath.Join(coil, FileName)) {
		t.Errorf("a broken file: %v", err)
	}
}

func FuzzDecode(f *testing.F) {
	f.Add([]byte(header + "capacitors = [\"470p 1%\"]\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		p, err := Decode(text)
		if err != nil {
			return
		}
		again, err := Change(text, Texts(p.Capacitors), Texts(p.Resistors))
		if err != nil {
			return // a file that can be read, but not changed by itself
		}
		if q, err := Decode(again); err != nil || !slices.Equal(Texts(p.Capacitors), Texts(q.Capacitors)) {
			t.Errorf("%q became %q: %v", text, again, err)
		}
	})
}
