package cli

import (
	"fmt"
	"runtime"

	"github.com/spf13/cobra"
)

// version is set by the linker in releases.
var version = "0.1-dev"

// programName is what takes and results say they were made by.
func programName() string { return "coilsweep " + version }

func versionText() string {
	return fmt.Sprintf("%s (%s, %s/%s)", programName(), runtime.Version(), runtime.GOOS, runtime.GOARCH)
}

func newVersion(c *console) *cobra.Command {
	return c.command(&cobra.Command{
		Use:   "version",
		Short: "Print the program's version",
		Args:  noArgs,
		RunE: func(*cobra.Command, []string) error {
			_, err := fmt.Fprintln(c.out, versionText())
			return err
		},
	})
}
