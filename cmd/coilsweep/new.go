package main

import (
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"coilsweep/capture"
)

// newCoilFlags are the options of 'new'.
type newCoilFlags struct {
	coil capture.Coil
	dcr  resistanceFlag
}

func (o *newCoilFlags) add(f *pflag.FlagSet) {
	f.StringVar(&o.coil.Name, "name", "", "the coil's name (default: that of the folder)")
	f.Var(&o.dcr, "dcr", `DC resistance with temperature and accuracy, "7.85k@22C 0.5%"`)
	f.StringVar(&o.coil.Wire, "wire", "", "the wire, in your own words")
	f.StringVar(&o.coil.Notes, "notes", "", "anything worth remembering")
}

func newNew(c *console) *cobra.Command {
	var options newCoilFlags
	cmd := &cobra.Command{
		Use:   "new DIR",
		Short: "Start the folder of a coil",
		Long: `Start the folder of a coil: coil.toml, which is yours to edit, and a place for
its takes.`,
		Example: `  coilsweep new bridge --name "Bridge coil" --dcr "7.85k@22C 0.5%"`,
		Args:    oneArg("the folder DIR"),
		RunE: c.body(func(cmd *cobra.Command, args []string) error {
			dir := args[0]
			if err := options.create(cmd, dir); err != nil {
				return err
			}
			c.warn("made %s: add what you know of the coil to %s", dir, filepath.Join(dir, "coil.toml"))
			return nil
		}),
	}
	options.add(cmd.Flags())
	return cmd
}

// create starts the folder.
func (o *newCoilFlags) create(cmd *cobra.Command, dir string) error {
	coil := o.coil
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
	coil.DCR = o.dcr.value
	return capture.CreateFolder(dir, coil)
}
