package workbench

import (
	"regexp"
	"runtime"
	"strings"
)

// Draft takes options as they stand in a form, whether they can be read or not,
// so that CommandLine shows them; nothing else is to be done with them. An empty
// text leaves one out.
func (o Options) Draft(texts map[string]string) {
	for _, p := range o {
		if text := texts[p.Name]; text != "" {
			if pointed, err := p.typed(text); err == nil {
				text = pointed
			}
			p.note(text)
		}
	}
}

// CommandLine is what starts program with args and the options that were given,
// for the shell of this system.
func (o Options) CommandLine(program string, args []string) string {
	words := []string{program}
	for _, arg := range args {
		if strings.HasPrefix(arg, "-") {
			arg = "./" + arg
		}
		words = append(words, ShellWord(arg))
	}
	for _, p := range o {
		for _, text := range p.texts {
			switch flag := "--" + p.Name; {
			case p.Bare != "" && text == p.Bare:
				words = append(words, flag)
			case p.Bare != "", strings.HasPrefix(text, "-"):
				words = append(words, flag+"="+ShellWord(text))
			default:
				words = append(words, flag, ShellWord(text))
			}
		}
	}
	return strings.Join(words, " ")
}

var (
	plainWord = regexp.MustCompile(`^[A-Za-z0-9_@%+=:,./-]+$`)
	// notInDoubleQuotes is what a shell, or the history of one, acts on between
	// double quotes.
	notInDoubleQuotes = "\"$`\\!\n"
	plainOnWindows    = regexp.MustCompile(`^[A-Za-z0-9_%+=:.\\/-]+$`)
)

// ShellWord is text as one word for the shell of this system.
func ShellWord(text string) string {
	if runtime.GOOS == "windows" {
		return windowsWord(text)
	}
	return posixWord(text)
}

func posixWord(text string) string {
	switch {
	case plainWord.MatchString(text):
		return text
	case !strings.ContainsAny(text, notInDoubleQuotes):
		return `"` + text + `"`
	}
	return "'" + strings.ReplaceAll(text, "'", `'\''`) + "'"
}

// windowsWord is text as one word for PowerShell and the command prompt, where both
// have one way to write it, and for PowerShell where they differ.
func windowsWord(text string) string {
	switch {
	case plainOnWindows.MatchString(text):
		return text
	case strings.ContainsAny(text, "\"$`"):
		return "'" + strings.NewReplacer("'", "''", `"`, `\"`).Replace(text) + "'"
	case strings.HasSuffix(text, `\`):
		text += `\` // the program would read \" as a quotation mark
	}
	return `"` + text + `"`
}
