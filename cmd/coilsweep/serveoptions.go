package main

import (
	"fmt"
	"maps"
	"net/http"
	"regexp"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// Options of the commands that a page may not give: they name files anywhere,
// or belong to the program that serves it.
var notOnPages = []string{
	"bench", "bench-file", "virtual-file", "seed", "verbose", "json", "help",
	"stimulus", "recording", "harness", "netlist", "csv", "out", "limits", "plot", "page", "decimal",
}

// fill gives cmd the options of a page, by their names; an empty text leaves
// one out. What is wrong is wrong use, as on a command line.
func fill(cmd *cobra.Command, options map[string]string) error {
	for _, name := range slices.Sorted(maps.Keys(options)) {
		if cmd.Flags().Lookup(name) == nil || slices.Contains(notOnPages, name) {
			return usagef("--%s is no option here", name)
		}
		if options[name] == "" {
			continue
		}
		if err := cmd.Flags().Set(name, options[name]); err != nil {
			return usageError{flagError(cmd, err)}
		}
	}
	return nil
}

// commandLine is the command that does what a page asks for, as a shell takes
// it: all options that were set, in the order of their names.
func commandLine(name string, dirs []string, f *pflag.FlagSet) string {
	words := append([]string{"coilsweep", name}, dirs...)
	f.Visit(func(flag *pflag.Flag) {
		switch list, isList := flag.Value.(pflag.SliceValue); {
		case isList:
			for _, v := range list.GetSlice() {
				words = append(words, "--"+flag.Name, v)
			}
		case flag.Value.Type() == "bool":
			words = append(words, "--"+flag.Name)
		case flag.NoOptDefVal != "":
			words = append(words, "--"+flag.Name+"="+flag.Value.String())
		default:
			words = append(words, "--"+flag.Name, flag.Value.String())
		}
	})
	for i, w := range words {
		words[i] = shellWord(w)
	}
	return strings.Join(words, " ")
}

// shellWord is s as a POSIX shell takes it.
func shellWord(s string) string {
	plain := func(c rune) bool {
		return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || strings.ContainsRune("-_./=:,%+@", c)
	}
	if s != "" && strings.IndexFunc(s, func(c rune) bool { return !plain(c) }) < 0 {
		return s
	}
	return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'"
}

var optionInText = regexp.MustCompile(`--([a-z][a-z0-9-]*)`)

// fieldOf is the option that wrong use is about: the first that its text names.
func fieldOf(err error) string {
	if m := optionInText.FindStringSubmatch(err.Error()); m != nil {
		return m[1]
	}
	return ""
}

// optionDefaults are the defaults of a command's options, as texts.
func optionDefaults(f *pflag.FlagSet) map[string]string {
	texts := map[string]string{}
	f.VisitAll(func(flag *pflag.Flag) {
		if flag.DefValue != "" && !slices.Contains(notOnPages, flag.Name) {
			texts[flag.Name] = flag.DefValue
		}
	})
	return texts
}

// newOptions is a command that is never run: it holds options.
func newOptions(r *http.Request) *cobra.Command {
	cmd := &cobra.Command{Use: "page"}
	cmd.SetContext(r.Context())
	return cmd
}

func missingOption(name, what string) error {
	return usageError{fmt.Errorf("--%s is missing: %s", name, what)}
}
