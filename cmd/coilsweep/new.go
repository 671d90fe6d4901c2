package main

import (
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"coilsweep/capture"
)

func newNew(c *console) *cobra.Command {
	var coil capture.Coil
	dcr := &resistanceFlag{}
	cmd := &cobra.Command{
		Use:   "new DIR",
		Short: "Start the folder of a coil",
		Long: `Start the folder of a coil: coil.toml, which is yours to edit, and a place for
its takes.`,
		Example: `  coilsweep new bridge --name "Bridge coil" --dcr "7.85k@22C 0.5%"`,
		Args:    oneArg("the folder DIR"),
		RunE: c.body(func(cmd *cobra.Command, args []string) error {
			dir := args[0]
			if cmd.Flags().Changed("name") && strings.TrimSpace(coil.Name) == "" {
				return usagef("--name is blank: give the coil a name, or leave it out for that of the folder")
			}
			if coil.Name == "" {
				abs, err := filepath.Abs(dir)
				if err != nil {
					return err
				}
				coil.Name = filepath.Base(abs)
			}
			coil.DCR = dcr.value
			if err := capture.CreateFolder(dir, coil); err != nil {
				return err
			}
			c.warn("made %s: add what you know of the coil to %s", dir, filepath.Join(dir, "coil.toml"))
			return nil
		}),
	}
	f := cmd.Flags()
	f.StringVar(&coil.Name, "name", "", "the coil's name (default: that of the folder)")
	f.Var(dcr, "dcr", `DC resistance with temperature and accuracy, "7.85k@22C 0.5%"`)
	f.StringVar(&coil.Wire, "wire", "", "the wire, in your own words")
	f.StringVar(&coil.Notes, "notes", "", "anything worth remembering")
	return cmd
}
