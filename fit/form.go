package fit

// Form is one model: its losses beside the wire's resistance.
type Form struct {
	Rings    int  // eddy-current loops, 0 to 3
	Cylinder bool // the solid core in place of the loops
	Cover    bool // the shielding pole of a conducting cover
	Loss     bool // dielectric loss of the coil's own capacitance
}

// Ladder lists the models in the order in which they are tried; each may have
// dielectric loss besides.
func Ladder() []Form {
	var forms []Form
	for _, cover := range []bool{false, true} {
		for rings := range 4 {
			forms = append(forms, Form{Rings: rings, Cover: cover})
		}
		forms = append(forms, Form{Cylinder: true, Cover: cover})
	}
	return forms
}

// Name of the form, as in result.json.
func (f Form) Name() string {
	name := [...]string{"loss-free", "one ring", "two rings", "three rings"}[f.Rings]
	if f.Cylinder {
		name = "solid cylinder"
	}
	if f.Cover {
		name += " with cover"
	}
	if f.Loss {
		name += " with dielectric loss"
	}
	return name
}

// Structure is the form without cover and dielectric loss: what it says of the
// coil's eddy currents.
func (f Form) Structure() Form { return Form{Rings: f.Rings, Cylinder: f.Cylinder} }

// Supposition is the structure in words, for what holds only under it.
func (f Form) Supposition() string {
	if f.Cylinder {
		return "a solid core"
	}
	return [...]string{"no loops", "one loop", "two loops", "three loops"}[f.Rings]
}

// Parameters is the number of circuit parameters of the form.
func (f Form) Parameters() int {
	n := 3 + 2*f.Rings
	if f.Cylinder {
		n += 2
	}
	if f.Cover {
		n++
	}
	if f.Loss {
		n++
	}
	return n
}

// FormNamed is the form of that name.
func FormNamed(name string) (Form, bool) {
	for _, f := range Ladder() {
		for _, f.Loss = range []bool{false, true} {
			if f.Name() == name {
				return f, true
			}
		}
	}
	return Form{}, false
}
