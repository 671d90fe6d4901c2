package web

import (
	"html/template"
	"maps"
	"net/http"
	"slices"
	"strings"

	"coilsweep/capture/benchfile"
	"coilsweep/cmd/coilsweep/internal/exciterplan"
	"coilsweep/cmd/coilsweep/internal/inguitar"
	"coilsweep/cmd/coilsweep/internal/onpaper"
	"coilsweep/cmd/coilsweep/internal/workbench"
)

// draft is a form as it stands while somebody fills it.
type draft struct {
	Form    string            `json:"form"` // the command that does the same
	Coils   []string          `json:"coils"`
	Options map[string]string `json:"options"`
}

// forms are the options of the command behind each form.
var forms = map[string]func(program string) workbench.Options{
	"bench":     func(string) workbench.Options { return workbench.NewBenchText().Options },
	"new":       func(string) workbench.Options { return workbench.NewCoil().Options },
	"measure":   func(program string) workbench.Options { return workbench.NewMeasurement(program).Options },
	"import":    func(program string) workbench.Options { return workbench.NewImport(program).Options },
	"check":     func(program string) workbench.Options { return workbench.NewCheck(program).Options },
	"calibrate": func(program string) workbench.Options { return workbench.NewCalibration(program).Options },
	"fixture":   func(program string) workbench.Options { return workbench.NewFixture(program).Options },
	"predict":   func(string) workbench.Options { return inguitar.NewGuitar(true).Options },
	"compare":   func(string) workbench.Options { return workbench.NewComparison().Options },
	"batch":     func(string) workbench.Options { return workbench.NewBatch().Options },
	"exciter":   func(string) workbench.Options { return exciterplan.New().Options },
	"plot":      func(string) workbench.Options { return plotOptions() },
	"fit":       func(string) workbench.Options { return workbench.NewFit(true).Options },
	"report":    func(string) workbench.Options { return nil },
	"label":     func(string) workbench.Options { return nil },
	"pair":      func(string) workbench.Options { return inguitar.NewPair().Options },
}

// plotOptions are those of a figure in a file, perhaps of a coil in a guitar.
func plotOptions() workbench.Options {
	out := workbench.Option{Name: "out", Value: workbench.Text(new(string))}
	return slices.Concat(onpaper.NewFigure("").Options, inguitar.NewGuitar(false).Options, workbench.Options{&out})
}

// line is the command line that does what the form does, with "COIL" for each of
// least coils that are still missing. What follows the form's name belongs to the
// command.
func (w *workshop) line(form string, coils []string, least int, options map[string]string) string {
	name, _, _ := strings.Cut(form, " ")
	o := forms[name](w.Program)
	if w.isSimulated() {
		o.Draft(map[string]string{"bench": workbench.Virtual, "bench-file": simulatedDir + "/" + benchfile.FileName})
	}
	for _, p := range o {
		texts := []string{options[p.Name]}
		if _, several := p.Value.(*workbench.List); several {
			texts = workbench.SplitList(options[p.Name])
		}
		for _, text := range texts {
			o.Draft(map[string]string{p.Name: text})
		}
	}
	for len(coils) < least {
		coils = append(slices.Clone(coils), "COIL")
	}
	return o.CommandLine("coilsweep "+form, coils)
}

// postDraft answers a form as it stands: with the command line that does the same,
// and with names for what is to be made. It changes nothing.
func (w *workshop) postDraft(_ *http.Request, in draft) (any, error) {
	if forms[in.Form] == nil {
		return nil, wrong("form", "there is no such form here")
	}
	form, coils, least, name := in.Form, in.Coils, 1, ""
	switch in.Form {
	case "measure":
		return w.draftTake(in)
	case "bench", "calibrate", "fixture":
		coils = []string{"."}
		if in.Form == "bench" && w.isSimulated() {
			coils = []string{simulatedDir}
		}
		if b, err := w.viewBench(); in.Form == "bench" && err == nil && b.File == nil {
			form += " --new"
		}
	case "compare":
		least = 2
	case "exciter":
		least = 0
	case "new":
		if len(coils) == 0 {
			if name = w.freeFolder(in.Options["name"]); name != "" {
				coils = []string{name}
			}
		}
	}
	return drafted{name, "", places{in.Form + "-line": text(w.line(form, coils, least, in.Options))}}, nil
}

// drafted is the answer to a draft.
type drafted struct {
	Name string `json:"name"` // proposed for the take or for the folder
	Part string `json:"part"` // what is to be connected across the coil, in words
	HTML places `json:"html"`
}

// draftTake answers the form of a take, of which that of an import has its load.
func (w *workshop) draftTake(in draft) (any, error) {
	options := map[string]string{}
	maps.Copy(options, in.Options)
	coil := slices.Concat(in.Coils, []string{""})[0]
	hint, name := template.HTML(""), ""
	if folder, err := w.openCoil(coil); err == nil {
		if options["take"] == "" {
			name = proposeTake(folder, options)
			options["take"] = name
		}
		hint = fragment("name hint", struct {
			Take        string
			Redo, Taken bool
		}{options["take"], options["redo"] != "", options["take"] != "" && takenName(folder, options["take"])})
	}
	imported := map[string]string{"stimulus": "STIMULUS.toml", "recording": "RECORDING.wav"}
	for _, key := range []string{"take", "added-c", "added-r", "redo", "stimulus", "recording"} {
		if options[key] != "" {
			imported[key] = options[key]
		}
	}
	delete(options, "stimulus")
	delete(options, "recording")
	return drafted{name, newProposal(options).words(), places{
		"t-take-hint": hint, "measure-line": text(w.line("measure", in.Coils, 1, options)),
		"import-line": text(w.line("import", in.Coils, 1, imported)),
	}}, nil
}
