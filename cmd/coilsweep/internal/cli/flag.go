package cli

import (
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/report/data"
)

// groupAnnotation keeps the heading under which the help shows a flag.
const groupAnnotation = "coilsweep-group"

// groupOutput is the heading of what a command prints and writes.
const groupOutput = "Output"

// flag is an option as a flag.
type flag struct{ *workbench.Option }

func (f flag) String() string {
	if f.Option == nil { // a zero value that somebody compares with
		return ""
	}
	return f.Value.String()
}

func (f flag) Type() string { return f.Value.Type() }

// shorthands are the flags that have one letter.
var shorthands = map[string]string{"verbose": "v", "out": "o"}

// bind makes options flags of cmd.
func bind(cmd *cobra.Command, options workbench.Options) {
	cmd.Flags().SortFlags = false
	for _, o := range options {
		f := cmd.Flags().VarPF(flag{o}, o.Name, shorthands[o.Name], forCommands(o.Help))
		f.NoOptDefVal = o.Bare
		switch o.Default {
		case "":
		case "-":
			f.DefValue = ""
		default:
			f.DefValue = o.Default
		}
		if o.Group != "" {
			f.Annotations = map[string][]string{groupAnnotation: {o.Group}}
		}
	}
}

// output are options of what a command prints and writes.
func output(options ...*workbench.Option) workbench.Options {
	for _, o := range options {
		o.Group = groupOutput
	}
	return options
}

// on is an option that is on or off.
func on(name, help string, at *bool) *workbench.Option {
	return &workbench.Option{Name: name, Value: workbench.Switch(at), Bare: "true", Help: help}
}

// forceOption is the option that has a command replace a file.
func forceOption(at *bool) *workbench.Option {
	return on("force", "replace a file that coilsweep did not make", at)
}

// text is an option that takes any text.
func text(name, help string, at *string) *workbench.Option {
	return &workbench.Option{Name: name, Value: workbench.Text(at), Help: help}
}

// jsonOption is the option of commands that print results.
func (c *console) jsonOption(what string) *workbench.Option {
	return on("json", "print "+what+" as JSON", &c.asJSON)
}

// decimal is the decimal sign of CSV files. It is called --decimal in every
// command.
type decimal string

// The decimal signs.
const (
	decimalPoint = "point"
	decimalComma = "comma"
)

// option is the flag; of says which file it is for.
func (d *decimal) option(of string) *workbench.Option {
	*d = decimalPoint
	return &workbench.Option{
		Name: "decimal", Value: workbench.Choice((*string)(d), decimalPoint, decimalComma),
		Help: "decimal sign of " + of + ": point, or comma with semicolons between the fields",
	}
}

// csv are the options of a CSV file.
func (d decimal) csv() data.CSVOptions { return data.CSVOptions{DecimalComma: d == decimalComma} }

// contradict refuses flags of which only one may be given.
func contradict(cmd *cobra.Command, names ...string) error {
	var given []string
	for _, name := range names {
		if cmd.Flags().Changed(name) {
			given = append(given, "--"+name)
		}
	}
	if len(given) > 1 {
		return usagef("%s contradict each other", strings.Join(given, " and "))
	}
	return nil
}

// needs wants that flag is given only where one of the flags needed is.
func needs(cmd *cobra.Command, flag string, needed ...string) error {
	if cmd.Flags().Changed(flag) && !slices.ContainsFunc(needed, cmd.Flags().Changed) {
		return usagef("--%s is for --%s", flag, strings.Join(needed, " or --"))
	}
	return nil
}

// flagGroup are flags that the help shows under one heading.
type flagGroup struct {
	Heading string
	flags   *pflag.FlagSet
}

// Usages are the lines of the flags.
func (g flagGroup) Usages() string { return strings.TrimRight(g.flags.FlagUsages(), "\n") }

// unadorned is the value of a flag of which the help shows no "[=true|false]".
type unadorned struct{ pflag.Value }

// flagGroups are the flags of a command by their headings, in the order in which
// they were defined; what has no heading stands at the end.
func flagGroups(cmd *cobra.Command) []flagGroup {
	var groups []flagGroup
	var rest = flagGroup{"Options", pflag.NewFlagSet("", pflag.ContinueOnError)}
	rest.flags.SortFlags = false
	cmd.LocalFlags().VisitAll(func(f *pflag.Flag) {
		shown := *f
		shown.Value = unadorned{f.Value}
		f = &shown
		names := f.Annotations[groupAnnotation]
		if len(names) == 0 {
			rest.flags.AddFlag(f)
			return
		}
		i := slices.IndexFunc(groups, func(g flagGroup) bool { return g.Heading == names[0] })
		if i < 0 {
			i = len(groups)
			groups = append(groups, flagGroup{names[0], pflag.NewFlagSet("", pflag.ContinueOnError)})
			groups[i].flags.SortFlags = false
		}
		groups[i].flags.AddFlag(f)
	})
	if i := slices.IndexFunc(groups, func(g flagGroup) bool { return g.Heading == groupOutput }); i >= 0 {
		groups = append(slices.Delete(slices.Clone(groups), i, i+1), groups[i])
	}
	if rest.flags.HasFlags() {
		groups = append(groups, rest)
	}
	return groups
}

func init() { cobra.AddTemplateFunc("flagGroups", flagGroups) }

// usageTemplate is cobra's, with the flags in groups.
const usageTemplate = `Usage:{{if .Runnable}}
  {{.UseLine}}{{end}}{{if .HasAvailableSubCommands}}
  {{.CommandPath}} [command]{{end}}{{if .HasExample}}

Examples:
{{.Example}}{{end}}{{if .HasAvailableSubCommands}}

Available Commands:{{range .Commands}}{{if (or .IsAvailableCommand (eq .Name "help"))}}
  {{rpad .Name .NamePadding }} {{.Short}}{{end}}{{end}}{{end}}{{range flagGroups .}}

{{.Heading}}:
{{.Usages}}{{end}}{{if .HasAvailableSubCommands}}

Use "{{.CommandPath}} [command] --help" for more about a command.{{end}}
`
