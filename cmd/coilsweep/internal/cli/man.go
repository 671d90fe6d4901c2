package cli

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"coilsweep/capture/atomicfile"
	"coilsweep/cmd/coilsweep/internal/workbench"
)

// newMan writes the manual pages, for those who pack the program.
func newMan(c *console) *cobra.Command {
	return c.command(&cobra.Command{
		Use:    "man FOLDER",
		Short:  "Write the manual pages into a folder",
		Hidden: true,
		Args:   oneArg("the folder FOLDER"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := os.MkdirAll(args[0], 0o777); err != nil {
				return err
			}
			commands := []*cobra.Command{cmd.Root()}
			for _, one := range cmd.Root().Commands() {
				if one.IsAvailableCommand() && one.Name() != "help" && one.Name() != "completion" {
					commands = append(commands, one)
				}
			}
			for _, one := range commands {
				path := filepath.Join(args[0], manName(one)+".1")
				if err := atomicfile.Fill(path, func(w io.Writer) error { return manPage(w, one, commands) }); err != nil {
					return err
				}
				fmt.Fprintln(c.out, path)
			}
			return nil
		},
	})
}

func manName(cmd *cobra.Command) string { return strings.ReplaceAll(cmd.CommandPath(), " ", "-") }

// manPage is the manual page of a command, by the macros of man(7).
func manPage(w io.Writer, cmd *cobra.Command, all []*cobra.Command) error {
	cmd.InitDefaultHelpFlag()
	var b strings.Builder
	section := func(name string) { fmt.Fprintf(&b, ".SH %s\n", roff(strings.ToUpper(name))) }
	asIs := func(text string) { fmt.Fprintf(&b, ".nf\n%s\n.fi\n", roff(text)) }
	fmt.Fprintf(&b, ".TH %s 1 %s \"%s\"\n", strings.ToUpper(manName(cmd)),
		workbench.Made().UTC().Format("2006-01-02"), roff(programName()))
	section("Name")
	fmt.Fprintf(&b, "%s \\- %s\n", roff(manName(cmd)), roff(cmd.Short))
	section("Synopsis")
	asIs(cmd.UseLine())
	section("Description")
	long := cmd.Long
	if long == "" {
		long = cmd.Short + "."
	}
	for i, paragraph := range strings.Split(long, "\n\n") {
		if i > 0 {
			b.WriteString(".PP\n")
		}
		if strings.HasPrefix(paragraph, " ") {
			asIs(paragraph)
		} else {
			b.WriteString(roff(paragraph) + "\n")
		}
	}
	for _, g := range flagGroups(cmd) {
		section(g.Heading)
		asIs(g.Usages())
	}
	if cmd.HasExample() {
		section("Examples")
		asIs(cmd.Example)
	}
	section("See also")
	for i, one := range all {
		comma := ","
		if i == len(all)-1 {
			comma = ""
		}
		fmt.Fprintf(&b, ".BR %s (1)%s\n", roff(manName(one)), comma)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// roff is text for roff: no line of it is a request, and signs are what they are.
func roff(text string) string {
	lines := strings.Split(strings.NewReplacer(`\`, `\e`, "-", `\-`).Replace(text), "\n")
	for i, line := range lines {
		if strings.HasPrefix(line, ".") || strings.HasPrefix(line, "'") {
			lines[i] = `\&` + line
		}
	}
	return strings.Join(lines, "\n")
}
