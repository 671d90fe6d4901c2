package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"coilsweep/report/data"
)

// decimalFlag is the decimal sign of CSV files; empty is a point. It is called
// --decimal in every command.
type decimalFlag string

// The decimal signs.
const (
	decimalPoint decimalFlag = "point"
	decimalComma decimalFlag = "comma"
)

func (f *decimalFlag) Set(text string) error {
	switch d := decimalFlag(text); d {
	case decimalPoint, decimalComma:
		*f = d
		return nil
	}
	return fmt.Errorf("want %s or %s", decimalPoint, decimalComma)
}

func (f *decimalFlag) String() string {
	if *f == "" {
		return string(decimalPoint)
	}
	return string(*f)
}

func (*decimalFlag) Type() string { return "sign" }

// add adds the flag; of says which file it is for.
func (f *decimalFlag) add(cmd *cobra.Command, of string) {
	cmd.Flags().Var(f, "decimal", "decimal sign of "+of+": point, or comma with semicolons between the fields")
}

// options are those of a CSV file.
func (f *decimalFlag) options() data.CSVOptions {
	return data.CSVOptions{DecimalComma: *f == decimalComma}
}

// needs wants that the CSV file, which the flag named needed asks for, is
// written where a sign is given.
func (f *decimalFlag) needs(cmd *cobra.Command, needed string) error {
	if cmd.Flags().Changed("decimal") && !cmd.Flags().Changed(needed) {
		return usagef("--decimal is for --%s", needed)
	}
	return nil
}
