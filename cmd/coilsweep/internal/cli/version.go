package cli

import (
	"cmp"
	"fmt"
	"runtime"
	"runtime/debug"
	"sync"

	"github.com/spf13/cobra"

	"coilsweep/cmd/coilsweep/internal/published"
	"coilsweep/report/data"
	"coilsweep/report/notation"
	"coilsweep/report/schema"
)

// version is set by the linker in releases, from the tag.
var version string

// programVersion is the version, or what Go knows of the source that the program was
// built from.
var programVersion = sync.OnceValue(func() string {
	info, ok := debug.ReadBuildInfo()
	if version != "" || !ok {
		return cmp.Or(version, "unknown")
	}
	known := map[string]string{}
	for _, s := range info.Settings {
		known[s.Key] = s.Value
	}
	of := cmp.Or(known["vcs.revision"], info.Main.Version, "unknown")
	if known["vcs.modified"] == "true" {
		of += "-dirty"
	}
	return of
})

// programName is what takes and results say they were made by.
func programName() string { return "coilsweep " + programVersion() }

func versionText() string {
	return fmt.Sprintf("%s (%s, %s/%s)", programName(), runtime.Version(), runtime.GOOS, runtime.GOARCH)
}

func newVersion(c *console) *cobra.Command {
	return c.command(&cobra.Command{
		Use:   "version",
		Short: "Print the program's version",
		Args:  noArgs,
		RunE: func(*cobra.Command, []string) error {
			if c.asJSON {
				return c.json(data.Object{{"program", "coilsweep"}, {"version", programVersion()},
					{"go", runtime.Version()}, {"system", runtime.GOOS}, {"processor", runtime.GOARCH},
					{"formats", notation.Each(published.Formats(), schema.Format.ID)}})
			}
			_, err := fmt.Fprintln(c.out, versionText())
			return err
		},
	}, output(c.jsonOption("the version")))
}
