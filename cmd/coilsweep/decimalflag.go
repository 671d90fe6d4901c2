package main

import "fmt"

// decimalFlag is the decimal sign of CSV files; empty is a point.
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
