package workbench

import (
	"path/filepath"
	"strings"

	"coilsweep/capture"
	"coilsweep/excite/quantity"
)

// Coil are the options of a new coil folder.
type Coil struct {
	Options
	Coil capture.Coil
	DCR  *quantity.Resistance
}

// NewCoil has the defaults.
func NewCoil() *Coil {
	o := &Coil{}
	o.Options = Options{
		{Name: "name", Page: true, Value: Text(&o.Coil.Name), Help: "the coil's name (default: that of the folder)"},
		{Name: "dcr", Page: true, Value: Resistance(&o.DCR),
			Help: `DC resistance with temperature and accuracy, "7.85k@22C 0.5%"`},
		{Name: "serial", Page: true, Value: Text(&o.Coil.Serial), Help: "its serial number"},
		{Name: "lot", Page: true, Value: Text(&o.Coil.Lot), Help: "the production run that it is of"},
		{Name: "customer", Page: true, Value: Text(&o.Coil.Customer), Help: "who it is for"},
		{Name: "wire", Page: true, Value: Text(&o.Coil.Wire), Help: "the wire, in your own words"},
		{Name: "notes", Page: true, Value: Text(&o.Coil.Notes), Help: "anything worth remembering"},
	}
	return o
}

// Create starts the folder.
func (o *Coil) Create(dir string) error {
	coil := o.Coil
	if o.Given("name") && strings.TrimSpace(coil.Name) == "" {
		return Wrong("name", "{name} is blank: give the coil a name, or leave it out for that of the folder")
	}
	if coil.Name == "" {
		abs, err := filepath.Abs(dir)
		if err != nil {
			return err
		}
		coil.Name = filepath.Base(abs)
	}
	coil.DCR = o.DCR
	return capture.CreateFolder(dir, coil)
}
