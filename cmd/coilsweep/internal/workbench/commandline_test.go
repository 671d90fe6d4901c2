package workbench

import (
	"os/exec"
	"runtime"
	"strings"
	"testing"
)

func TestCommandLine(t *testing.T) {
	line := func(o Options, program string, args []string, texts map[string]string) string {
		o.Draft(texts)
		return o.CommandLine("coilsweep "+program, args)
	}
	type m = map[string]string
	for _, tt := range []struct{ got, want string }{ // on Windows some are quoted otherwise: TestWindowsWord
		{line(NewMeasurement("").Options, "measure", []string{"a b"},
			m{"take": "c470", "added-c": "470p 1%", "level": "-12", "redo": "true", "after": ""}),
			`coilsweep measure "a b" --take c470 --added-c "470p 1%" --level=-12 --redo`},
		{line(NewMeasurement("").Options, "measure", []string{"bridge"}, m{"levels": "-30"}),
			"coilsweep measure bridge --levels=-30"},
		{line(NewFit(true).Options, "fit", []string{"-x", "$(rm -r ~)", `it's "$x"`}, nil),
			`coilsweep fit ./-x '$(rm -r ~)' 'it'\''s "$x"'`},
		{line(NewCoil().Options, "new", []string{"x"}, m{"name": "a`b`", "notes": "two\nlines", "wire": "~"}),
			"coilsweep new x --name 'a`b`' --wire \"~\" --notes 'two\nlines'"},
		{line(NewCheck("").Options, "check", []string{"x"}, m{"level": "loud", "none-such": "y"}),
			"coilsweep check x --level loud"},
	} {
		if tt.got != tt.want && !(runtime.GOOS == "windows" && strings.ContainsAny(tt.want, "$`")) {
			t.Errorf("is   %s\nwant %s", tt.got, tt.want)
		}
	}

	// What was set is given as it was typed, what was set twice twice.
	b := NewBatch()
	for _, text := range []string{"5%", "q=15%"} {
		if err := b.Find("tolerance").Set(text); err != nil {
			t.Fatal(err)
		}
	}
	if got, want := b.CommandLine("batch", nil), "batch --tolerance 5% --tolerance q=15%"; got != want {
		t.Errorf("is %s, want %s", got, want)
	}
	c := NewMeasurement("")
	if err := c.Fill(map[string]string{"rate": "96 kHz"}); err != nil {
		t.Fatal(err)
	}
	if got, want := c.CommandLine("measure", nil), `measure --rate "96 kHz"`; got != want {
		t.Errorf("is %s, want %s", got, want)
	}
}

// A shell reads each word as it was meant.
func TestShellWord(t *testing.T) {
	shell, err := exec.LookPath("sh")
	if err != nil {
		t.Skip("there is no sh: ", err)
	}
	words := []string{"plain", "470p 1%", "$HOME", "`id`", "$(id)", `a\b`, "it's", `"`, "", "~", "*",
		"a;b", "a&b|c", "#x", "two\nlines", "!x", "ä", "<>", "a=b", "{a,b}", "my coils/neck's"}
	var quoted []string
	for _, w := range words {
		quoted = append(quoted, posixWord(w))
	}
	out, err := exec.Command(shell, "-c", `printf '%s\0' `+strings.Join(quoted, " ")).Output()
	if err != nil {
		t.Fatal(err)
	}
	if got := strings.TrimSuffix(string(out), "\x00"); got != strings.Join(words, "\x00") {
		t.Errorf("the shell reads %q of %s", got, quoted)
	}
}

// The rules are those of PowerShell's about_Quoting_Rules and of the C run time's
// "Parsing C command-line arguments" (both from memory).
func TestWindowsWord(t *testing.T) {
	for text, want := range map[string]string{
		`plain`: `plain`, `C:\coils\a`: `C:\coils\a`, `470p 1%`: `"470p 1%"`, `C:\my coils\`: `"C:\my coils\\"`,
		`it's`: `"it's"`, `$x's`: `'$x''s'`, `10" reel`: `'10\" reel'`, `a,b`: `"a,b"`, `@x`: `"@x"`, ``: `""`,
	} {
		if got := windowsWord(text); got != want {
			t.Errorf("%s: %s, want %s", text, got, want)
		}
	}
}

func TestForPage(t *testing.T) {
	for text, want := range map[string]string{
		"see {added-c}[[ ({level})]]":            "see added capacitor",
		"a real difference (see --same-bench)":   "a real difference (see same parts and fixture for all)",
		"--level 3, or take --level -12; a--b -": "level 3, or take level -12; a--b -",
	} {
		if got := ForPage(text); got != want {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
}
