package pair

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"coilsweep/capture"
	"coilsweep/capture/atomicfile"
	"coilsweep/capture/tomlkey"
	"coilsweep/fit/circuit"
)

// Schema names the format of pair.toml.
const Schema = "coilsweep.pair/1"

// recordFile is the file of a pair's folder.
const recordFile = "pair.toml"

// Folders of a pair, as a Record names them.
const (
	First  = "first"
	Second = "second"
	Both   = "both"
)

// Record is pair.toml, edited by hand: which coil folders belong together, and what was
// connected in each take.
type Record struct {
	Schema string `toml:"schema"` // Schema
	Name   string `toml:"name"`
	Notes  string `toml:"notes,omitempty"`
	// First, Second and Both are coil folders, from the folder of pair.toml: takes of each
	// coil alone, and of both connected.
	First  string `toml:"first"`
	Second string `toml:"second"`
	Both   string `toml:"both"`
	// Other is how the leads of the other coil are in takes of one alone: "open" or
	// "shorted" to ground.
	Other string `toml:"other"`
	// FieldPercent is by how much the exciter's field may differ at the two coils, a limit;
	// nil: usualFieldPercent.
	FieldPercent *float64 `toml:"field_percent,omitempty"`
	// Takes say how takes were connected. One of a coil alone need not be here.
	Takes []TakeRecord `toml:"take,omitempty"`
}

// TakeRecord says what was connected in a take.
type TakeRecord struct {
	Folder string `toml:"folder,omitempty"` // First, Second or Both, which "" is
	Name   string `toml:"name"`
	// Wiring is "series", "parallel", or of one coil "first", "second".
	Wiring   string `toml:"wiring,omitempty"`
	Reversed bool   `toml:"reversed,omitempty"`
	Other    string `toml:"other,omitempty"`   // "" is the record's
	Exciter  string `toml:"exciter,omitempty"` // a Place; "" is OverBoth
	// LevelChanged: a level was turned before this take.
	LevelChanged bool `toml:"level_changed,omitempty"`
}

// usualFieldPercent is assumed where none is stated (typical value, no source): an exciter
// by eye in the middle above both coils.
const usualFieldPercent = 2.0

// ErrNotPair: the folder holds no pair.toml.
var ErrNotPair = errors.New("not the folder of a pair")

// standardTakes are the connections that tell most of a pair.
var standardTakes = []TakeRecord{
	{Name: "series", Wiring: "series"}, {Name: "series-reversed", Wiring: "series", Reversed: true},
	{Name: "parallel", Wiring: "parallel"}, {Name: "parallel-reversed", Wiring: "parallel", Reversed: true},
}

// OpenRecord reads the pair.toml of dir. The error wraps ErrNotPair where there is none.
func OpenRecord(dir string) (Record, error) {
	path := filepath.Join(dir, recordFile)
	data, err := atomicfile.Read(path, atomicfile.MaxText)
	if errors.Is(err, os.ErrNotExist) {
		return Record{}, fmt.Errorf("%s is %w (no %s in it)", dir, ErrNotPair, recordFile)
	} else if err != nil {
		return Record{}, fmt.Errorf("cannot read the pair: %w", err)
	}
	r, err := tomlkey.DecodeChecked(data, Record.check)
	if err != nil {
		return Record{}, fmt.Errorf("%s: %w", path, err)
	}
	return r, nil
}

func (r Record) check() error {
	if r.Schema != Schema {
		return fmt.Errorf("schema is %q, this program reads %q", r.Schema, Schema)
	}
	for key, value := range map[string]string{"name": r.Name, First: r.First, Second: r.Second, Both: r.Both} {
		if strings.TrimSpace(value) == "" {
			return fmt.Errorf("%s is missing", key)
		}
	}
	if p := r.FieldPercent; p != nil && !(*p >= 0 && *p <= 50) {
		return fmt.Errorf("field_percent is %g: want the limit of the field's difference, 0 to 50 percent", *p)
	}
	if err := oneOf("other", r.Other, "open", "shorted"); err != nil {
		return err
	}
	seen := map[string]bool{}
	for _, t := range r.Takes {
		at := t.folder() + "/" + t.Name
		switch {
		case strings.TrimSpace(t.Name) == "":
			return errors.New("take: the name is missing")
		case seen[at]:
			return fmt.Errorf("take %s is there twice", at)
		case t.Reversed && t.wiring() != "series" && t.wiring() != "parallel":
			return fmt.Errorf("take %s: reversed is for both coils connected, not for one alone", at)
		}
		seen[at] = true
		for _, e := range []error{oneOf("folder", t.folder(), First, Second, Both),
			oneOf("wiring", t.wiring(), "series", "parallel", First, Second),
			oneOf("other", t.Other, "", "open", "shorted"),
			oneOf("exciter", t.Exciter, "", string(OverBoth), string(OverFirst), string(OverSecond))} {
			if e != nil {
				return fmt.Errorf("take %s: %w", at, e)
			}
		}
	}
	return nil
}

func oneOf(key, value string, want ...string) error {
	if slices.Contains(want, value) {
		return nil
	}
	want = slices.DeleteFunc(want, func(s string) bool { return s == "" })
	return fmt.Errorf("%s is %q: want %s or %s", key, value, strings.Join(want[:len(want)-1], ", "), want[len(want)-1])
}

func (t TakeRecord) folder() string {
	if t.Folder == "" {
		return Both
	}
	return t.Folder
}

// wiring is what was stated, or of a coil's own folder that coil.
func (t TakeRecord) wiring() string {
	if t.Wiring == "" && t.folder() != Both {
		return t.folder()
	}
	return t.Wiring
}

// of is what is recorded of a take; false where nothing is, and its folder does not tell it.
func (r Record) of(folder, name string) (c circuit.PairConnection, place Place, levelChanged, ok bool) {
	t := TakeRecord{Folder: folder, Name: name}
	at := slices.IndexFunc(r.Takes, func(t TakeRecord) bool { return t.folder() == folder && t.Name == name })
	if at >= 0 {
		t = r.Takes[at]
	} else if folder == Both {
		return c, "", false, false
	}
	c = circuit.PairConnection{Reversed: t.Reversed, Shorted: r.Other == "shorted"}
	if t.Other != "" {
		c.Shorted = t.Other == "shorted"
	}
	for wiring, name := range wiringNames {
		if name == t.wiring() {
			c.Wiring = wiring
		}
	}
	place = OverBoth
	if t.Exciter != "" {
		place = Place(t.Exciter)
	}
	return c, place, t.LevelChanged, true
}

// Create makes dir the folder of a pair, which must not exist: pair.toml with the
// connections that tell most, and coil folders for the halves and for both. The whole
// folder is made or nothing.
func Create(dir, name string, halves [2]capture.Coil) error {
	if _, err := os.Lstat(dir); err == nil {
		return fmt.Errorf("%s is there already: choose another folder", dir)
	}
	r := Record{Schema: Schema, Name: name, First: First, Second: Second, Both: Both, Other: "shorted"}
	if err := r.check(); err != nil {
		return err
	}
	part := filepath.Join(filepath.Dir(filepath.Clean(dir)), "."+filepath.Base(filepath.Clean(dir))+capture.PartialSuffix)
	if err := os.Mkdir(part, 0o755); err != nil {
		return fmt.Errorf("cannot make the folder of a pair: %w", err)
	}
	make := func() error {
		for _, f := range []struct {
			folder string
			coil   capture.Coil
		}{{First, halves[0]}, {Second, halves[1]}, {Both, capture.Coil{Name: name + ", both coils"}}} {
			if err := capture.CreateFolder(filepath.Join(part, f.folder), f.coil); err != nil {
				return err
			}
		}
		if err := atomicfile.Write(filepath.Join(part, recordFile), r.encode()); err != nil {
			return err
		}
		return os.Rename(part, dir)
	}
	if err := make(); err != nil {
		return errors.Join(err, os.RemoveAll(part))
	}
	return nil
}

// encode writes pair.toml with a word on each key.
func (r Record) encode() []byte {
	var b bytes.Buffer
	b.WriteString("# The two coils of a hum-cancelling pickup, and what was connected in each take. Edit it by\n" +
		"# hand.\n")
	b.WriteString(tomlkey.Setting("schema", Schema) + tomlkey.Setting("name", r.Name))
	b.WriteString("\n# Coil folders: takes of each coil alone, and of both connected.\n")
	for _, key := range []struct{ name, value string }{{First, r.First}, {Second, r.Second}, {Both, r.Both}} {
		b.WriteString(tomlkey.Setting(key.name, key.value))
	}
	b.WriteString("\n# The leads of the other coil while one is measured alone: \"shorted\", both on ground, or\n" +
		"# \"open\", connected to nothing.\n" + tomlkey.Setting("other", r.Other))
	b.WriteString("\n# Limit in percent of how much the exciter's field may differ at the two coils.\n" +
		fmt.Sprintf("# field_percent = %.1f\n", usualFieldPercent))
	b.WriteString("\n# One [[take]] for each take of both. wiring: \"series\" (the first coil's cold lead on the\n" +
		"# second's hot lead) or \"parallel\" (hot on hot). reversed: the second coil's leads are\n" +
		"# swapped. Hot is the lead that was on the input's hot side in the takes of that coil alone.\n" +
		"# Also: folder = \"first\" for a take of a coil's own folder that differs from what is stated\n" +
		"# above, other, exciter = \"first\" where it was over one coil only, level_changed = true where\n" +
		"# a level was turned.\n")
	for _, t := range standardTakes {
		b.WriteString("\n[[take]]\n" + tomlkey.Setting("name", t.Name) + tomlkey.Setting("wiring", t.Wiring))
		if t.Reversed {
			b.WriteString(tomlkey.Setting("reversed", true))
		}
	}
	return b.Bytes()
}
