package cli

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"coilsweep/capture"
	"coilsweep/capture/soundcard"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/fit/comparison"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// complete has shells complete the arguments and options of cmd: folders, takes,
// sound devices, words; files where an option can be one.
func complete(cmd *cobra.Command, options workbench.Options) {
	switch {
	case strings.Contains(cmd.Use, "DIR") || strings.Contains(cmd.Use, "ROOT"):
		cmd.ValidArgsFunction = func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
			return nil, cobra.ShellCompDirectiveFilterDirs
		}
	case !strings.Contains(cmd.Use, "FILE"):
		cmd.ValidArgsFunction = cobra.NoFileCompletions
	}
	for _, o := range options {
		// An error says that the flag is not there: it is, by bind.
		_ = cmd.RegisterFlagCompletionFunc(o.Name, completionOf(o))
	}
}

// addShells adds the command that writes completions. A shell that it does not know is
// an error.
func addShells(root *cobra.Command) {
	root.InitDefaultCompletionCmd()
	cmd, _, _ := root.Find([]string{"completion"})
	cmd.Short = "Write what a shell needs to complete commands and options"
	var shells []string
	for _, shell := range cmd.Commands() {
		shells = append(shells, shell.Name())
	}
	cmd.Args = func(_ *cobra.Command, args []string) error {
		if len(args) > 0 {
			return fmt.Errorf("there are no completions for %q: want one of %s", args[0], strings.Join(shells, ", "))
		}
		return nil
	}
	cmd.RunE = func(cmd *cobra.Command, _ []string) error { return cmd.Help() }
}

func completionOf(o *workbench.Option) cobra.CompletionFunc {
	known := o.Words()
	switch {
	case len(known) > 0:
		return cobra.FixedCompletions(known, cobra.ShellCompDirectiveNoFileComp)
	case o.Name == "input" || o.Name == "output":
		return devicesFor(o.Name == "input")
	case o.Name == "take" || o.Name == "after":
		return takesOf
	case o.Name == "like" || o.Name == "recorded-with" || o.Name == "against":
		return cobra.FixedCompletions(nil, cobra.ShellCompDirectiveFilterDirs)
	case o.Name == "sort": // of a comparison
		return cobra.FixedCompletions(append([]string{"given", "name"}, comparison.PropertyKeys()...),
			cobra.ShellCompDirectiveNoFileComp)
	case o.Name == "flag":
		return cobra.FixedCompletions(slices.Sorted(maps.Keys(words.FlagMeanings)), cobra.ShellCompDirectiveNoFileComp)
	case o.Value.Type() == "text":
		return nil // perhaps a file
	}
	return cobra.NoFileCompletions
}

// takesOf are the takes of the folder that the command line names first.
func takesOf(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
	const no = cobra.ShellCompDirectiveNoFileComp
	if len(args) == 0 {
		return nil, no
	}
	folder, err := capture.OpenFolder(args[0])
	if err != nil {
		return nil, no
	}
	held, err := folder.Fingerprint()
	if err != nil {
		return nil, no
	}
	return notation.Each(held.Takes, func(t capture.TakeFingerprint) string { return t.Name }), no
}

// devicesFor are the sound devices of one direction.
func devicesFor(recording bool) cobra.CompletionFunc {
	return func(cmd *cobra.Command, _ []string, _ string) ([]string, cobra.ShellCompDirective) {
		all, _ := soundcard.Devices(cmd.Context()) // none: nothing to complete
		able := slices.DeleteFunc(soundcard.Once(all), func(d soundcard.Device) bool {
			return recording && d.InputChannels == 0 || !recording && d.OutputChannels == 0
		})
		return notation.Each(able, func(d soundcard.Device) string { return d.Called(all) }),
			cobra.ShellCompDirectiveNoFileComp
	}
}
