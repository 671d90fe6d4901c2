package tomlkey

import (
	"strings"
	"testing"

	"github.com/BurntSushi/toml"
)

const bench = `# mine
name = "cellar" # the good one
# notes = "an example"

[card] # the new card
# input = "line in"
rate_hz = 48000   # as ever

# about the drive
[drive]
kind = """
current"""
# [winding]
# turns = 3
`

func TestSet(t *testing.T) {
	for _, tt := range []struct {
		name       string
		text       string
		table      toml.Key
		key        string
		value      any
		old, after string // what is replaced by what
	}{
		{"a value, its comment kept", bench, nil, "name", "attic", `"cellar" #`, `"attic" #`},
		{"behind its example", bench, nil, "notes", "x", "example\"\n", "example\"\nnotes = \"x\"\n"},
		{"behind its example in a table", bench, toml.Key{"card"}, "input", "mic", "line in\"\n",
			"line in\"\ninput = \"mic\"\n"},
		{"a number", bench, toml.Key{"card"}, "rate_hz", 96000, "48000   #", "96000   #"},
		{"at the end of its table", bench, toml.Key{"card"}, "buffer_s", 0.2, "as ever\n", "as ever\nbuffer_s = 0.2\n"},
		{"over several lines", bench, toml.Key{"drive"}, "kind", "voltage", "\"\"\"\ncurrent\"\"\"", `"voltage"`},
		{"a new table", bench, toml.Key{"winding"}, "turns", 8000, "# turns = 3\n",
			"# turns = 3\n\n[winding]\nturns = 8000\n"},
		{"an empty text", "", nil, "name", "x", "", "name = \"x\"\n"},
		{"no line feed at the end", "a = 1", nil, "b", true, "a = 1", "a = 1\nb = true\n"},
		{"a dotted key", "a.b = 1 # c\n", toml.Key{"a"}, "b", 2, "= 1", "= 2"},
		{"a quoted key", "[\"a\"]\n\"b\" = 1\n", toml.Key{"a"}, "b", 2, "= 1", "= 2"},
		{"not in a string", "s = '''\nb = 1\n'''\n", nil, "b", 2, "'''\n", "'''\n"},
		{"not in an array of tables", "a = 1\n[[m]]\na = 2\n", nil, "a", 3, "a = 1", "a = 3"},
		{"quotes in the value", "a = 1\n", nil, "a", `"#`, "1", `"\"#"`},
		{"carriage returns", "a = 1 # c\r\nb = 2\r\n", nil, "a", 3, "a = 1 ", "a = 3 "},
		{"a new line with one", "a = 1 # c\r\nb = 2\r\n", nil, "c", 3, "b = 2\r\n", "b = 2\r\nc = 3\r\n"},
		{"a new table with them", "a = 1\r\nb = 2", toml.Key{"t"}, "c", 3, "b = 2", "b = 2\r\n\r\n[t]\r\nc = 3\r\n"},
		{"a byte order mark", "\ufeffa = 1\n", nil, "a", 3, "a = 1", "a = 3"},
		{"a byte order mark before a new line", "\ufeff# a = 1\n", nil, "b", 3, "\ufeff", "\ufeffb = 3\n"},
	} {
		got, err := Set([]byte(tt.text), tt.table, tt.key, tt.value)
		if err != nil {
			t.Errorf("%s: %v", tt.name, err)
			continue
		}
		want := strings.Replace(tt.text, tt.old, tt.after, 1)
		if tt.name == "not in a string" {
			want = tt.text + "b = 2\n"
		}
		if string(got) != want {
			t.Errorf("%s: got\n%s\nwant\n%s", tt.name, got, want)
		}
	}
}

func TestUnset(t *testing.T) {
	got, err := Unset([]byte(bench), toml.Key{"drive"}, "kind")
	if want := strings.Replace(bench, "kind = \"\"\"\ncurrent\"\"\"\n", "", 1); err != nil || string(got) != want {
		t.Errorf("%v, got\n%s", err, got)
	}
	if got, err := Unset([]byte(bench), toml.Key{"card"}, "input"); err != nil || string(got) != bench {
		t.Errorf("an example was taken for a setting: %v\n%s", err, got)
	}
}

// What cannot be changed by a line is refused.
func TestSetRefuses(t *testing.T) {
	for _, text := range []string{
		"card = { rate_hz = 1 }\n", "[[card]]\nrate_hz = 1\n", "card = 3\n", "card.x = 1\n", "not toml\n",
	} {
		if got, err := Set([]byte(text), toml.Key{"card"}, "rate_hz", 2); err == nil {
			t.Errorf("%q became %q", text, got)
		}
	}
}

func TestLine(t *testing.T) {
	const text = "a = '''\nb = 1\n'''\nb = 2\n[c]\n# d = 3\nd = 4\n[[e]]\nf = 1\n[[e]]\nf = 2\n"
	for key, want := range map[string]int{"b": 4, "c": 5, "c.d": 7, "x": 1} {
		if got := Line([]byte(text), strings.Split(key, ".")); got != want {
			t.Errorf("%s: line %d, want %d", key, got, want)
		}
	}
	for key, want := range map[string]int{"e[0].f": 9, "e[1].f": 11, "e[1].g": 10, "c.d (in all)": 7, "x": 0} {
		if got := LineOf([]byte(text), key); got != want {
			t.Errorf("%s: line %d, want %d", key, got, want)
		}
	}
}

// Whatever the text, a change is the one that was asked for or an error.
func FuzzSet(f *testing.F) {
	f.Add([]byte(bench), "card", "rate_hz", "x")
	f.Add([]byte("a=[1,#]\n2]\n'b'.c='''x\n''''\n"), "", "a", "\n\"")
	f.Fuzz(func(t *testing.T, text []byte, table, key, value string) {
		var path toml.Key
		if table != "" {
			path = toml.Key{table}
		}
		got, err := Set(text, path, key, value)
		if err != nil {
			return
		}
		if back, err := Unset(got, path, key); err == nil && len(back) > len(got) {
			t.Errorf("%q grew to %q", got, back)
		}
	})
}
