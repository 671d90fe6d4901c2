package cli

import (
	"path/filepath"

	"github.com/spf13/cobra"

	"coilsweep/cmd/coilsweep/internal/workbench"
)

func newNew(c *console) *cobra.Command {
	options := workbench.NewCoil()
	return c.command(&cobra.Command{
		Use:   "new DIR",
		Short: "Start the folder of a coil",
		Long: `Start the folder of a coil: coil.toml, which is yours to edit, and a place for
its takes.`,
		Example: `  coilsweep new bridge --name "Bridge coil" --dcr "7.85k@22C 0.5%"`,
		Args:    oneArg("the folder DIR"),
		RunE: func(cmd *cobra.Command, args []string) error {
			dir := args[0]
			if err := options.Create(dir); err != nil {
				return err
			}
			c.warn("made %s: add what you know of the coil to %s", dir, filepath.Join(dir, "coil.toml"))
			return nil
		},
	}, options.Options)
}
