package page

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"

	"coilsweep/capture"
	"coilsweep/capture/instrument"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/notation"
	"coilsweep/report/words"
)

var certificateTemplate = framed(source("certificate.html"))

// notStated stands for what nobody stated: a certificate invents nothing.
const notStated = "not stated"

type certificatePage struct {
	frame
	Result                fit.Result
	Coil, Conditions      []fact
	Numbers               []benchRow // with reasons in Reasons
	Branch                *branchTable
	Takes                 []benchRow
	TakeColumns           []string
	Reasons, TakeReasons  []string
	Traced, Parts         []benchRow
	Untraced              string
	Factor, Operators     string
	Recordings            []benchRow
	Asymmetric, Simulated bool
}

// Certificate writes a page to print, sign and hand out with a coil: what was measured, with
// what and by whom, the results with their uncertainty, and what they do not say. It holds
// what d holds and the same folder gives the same page; what is not stated is said to be so.
func Certificate(w io.Writer, d CoilDocument) error {
	view := newCertificate(d)
	return writePage(w, certificateTemplate, view, nil, fmt.Sprintf("certificate of coil %q", d.Result.Coil))
}

func newCertificate(d CoilDocument) *certificatePage {
	r, coil := d.Result, notation.Visible(d.Result.Coil)
	p := &certificatePage{frame: newFrame("Measurement certificate", coil, source("certificate.css")), Result: r,
		Factor: fmt.Sprintf("%.2f", quantity.Coverage95), Operators: words.Operators(r.About)}
	p.Title = coil + ": measurement certificate"
	used := r.UsedTakes(d.Takes)
	p.coil(d)
	p.numbers(r)
	p.conditions(d, used)
	p.traced(d, used)
	p.provenance("numbers fitted by", r.Program)
	p.madeAt(d.Made, d.Program)
	p.provenance("result format", r.Schema)
	for _, t := range used {
		p.Recordings = append(p.Recordings, benchRow{shortName(t.Name), []string{notation.Visible(t.Audio.SHA256)}})
		p.Simulated = p.Simulated || t.Bench.Source == "virtual"
	}
	for _, s := range [][2]string{{"coil", "Coil"}, {"results", "Results"}, {"conditions", "Conditions"},
		{"traceability", "Traceability"}, {"uncertainty", "Uncertainty"}, {"limits", "Limits"},
		{"signature", "Signature"}, {"provenance", "Provenance"}} {
		p.section(true, s[0], s[1])
	}
	return p
}

// or is what is stated, or that it is not.
func or(stated string) string { return cmp.Or(strings.TrimSpace(notation.Visible(stated)), notStated) }

func (p *certificatePage) coil(d CoilDocument) {
	p.Coil = []fact{{"coil", or(d.Result.Coil)}, {"serial number", or(d.Result.Serial)}, {"lot", or(d.Result.Lot)},
		{"customer", or(d.Result.Customer)}}
	if d.Coil.Wire != "" {
		p.Coil = append(p.Coil, fact{"wire", or(d.Coil.Wire)})
	}
	if n := d.Coil.Winding; n != nil && n.Turns > 0 {
		p.Coil = append(p.Coil, fact{"turns, as counted", fmt.Sprint(n.Turns)})
	}
}

// numbers are the coil's own and those of the takes, with signs for reasons.
func (p *certificatePage) numbers(r fit.Result) {
	var n notation.Notes
	for _, x := range words.Numbers(r) {
		name := strings.TrimSpace(notation.UpperFirst(x.Name) + " " + x.Symbol)
		value, relative := n.Cell(x.Quantity, x.Unit), notation.None
		if q := x.Quantity; q.Known() {
			p.Asymmetric = p.Asymmetric || q.Low != 0 || q.High != 0
			if q.Value != 0 {
				relative = notation.Percent(100 * q.U95 / max(q.Value, -q.Value))
			}
		}
		p.Numbers = append(p.Numbers, benchRow{name, []string{value, relative, x.Note}})
	}
	p.Reasons = n.Reasons()
	p.Branch = newBranchTable(r)
	var of notation.Notes
	takes := slices.DeleteFunc(slices.Clone(r.Takes), func(t fit.TakeResult) bool { return !t.Used })
	for i, load := range words.Loads(takes) {
		p.Takes = append(p.Takes, benchRow{shortName(takes[i].Name), []string{load}})
	}
	for _, c := range slices.Concat(words.ShapeColumns, words.PeakColumns[:2]) {
		p.TakeColumns = append(p.TakeColumns, c.Name)
		for i, cell := range of.Cells(c.Unit, notation.Each(takes, c.Of)...) {
			p.Takes[i].Cells = append(p.Takes[i].Cells, cell)
		}
	}
	p.TakeReasons = of.Reasons()
}

func (p *certificatePage) conditions(d CoilDocument, used []capture.Take) {
	add := func(name, value string) { p.Conditions = append(p.Conditions, fact{name, or(value)}) }
	days, drives, references := []string{}, []string{}, []string{}
	once := func(list *[]string, text string) {
		if text != "" && !slices.Contains(*list, text) {
			*list = append(*list, text)
		}
	}
	for _, t := range used {
		if !t.Started.IsZero() {
			once(&days, t.Started.Format("2 January 2006"))
		}
		drive := t.Drive.Kind
		if t.Drive.Assumed {
			drive += ", assumed"
		}
		once(&drives, drive)
		once(&references, t.Reference.Kind)
	}
	add("takes made on", strings.Join(days, ", "))
	add("takes made by", strings.Join(d.Result.Operators, ", "))
	celsius := ""
	if t := d.Coil.CelsiusAtTakes; t != nil {
		celsius = quantity.Minus(fmt.Sprintf("%g °C", *t))
	}
	add("temperature of the coil", celsius)
	dcr := ""
	if d.Coil.DCR != nil {
		dcr = d.Coil.DCR.String()
	}
	add("DC resistance, as read", dcr)
	add("takes", fmt.Sprintf("%d of %s used", len(used), notation.Count(len(d.Result.Takes), "take")))
	add("exciter driven by", strings.Join(drives, "; "))
	add("reference on the second channel", strings.Join(references, "; "))
}

// traced are the instruments and parts that the numbers are traced by. An instrument that the
// takes need and nobody stated has its row.
func (p *certificatePage) traced(d CoilDocument, used []capture.Take) {
	any := func(is func(capture.Take) bool) bool { return slices.ContainsFunc(used, is) }
	needed := map[string]bool{
		instrument.Card:      true,
		instrument.Reference: any(func(t capture.Take) bool { return t.Reference.Kind == "current" }),
		instrument.BenchMeter: any(func(t capture.Take) bool {
			return t.Load.FixtureC != nil || t.Load.FixtureR != nil || t.Drive.Kind == "voltage"
		}),
		instrument.PartsMeter: any(func(t capture.Take) bool { return t.Load.AddedC != nil || t.Load.AddedR != nil }),
		instrument.DCRMeter:   d.Coil.DCR != nil,
		instrument.Readings:   len(d.Coil.Meter) > 0,
	}
	var loose []string
	for _, role := range instrument.Roles() {
		n, valid := 0, true
		for _, u := range d.Result.Instruments {
			if u.Role != role {
				continue
			}
			n++
			state := "valid on the days of the takes"
			switch {
			case u.Lapsed != "":
				state = "not valid any more: see the warnings"
			case u.CalibrationDue == "":
				state = notStated
			}
			valid = valid && state != notStated && u.Lapsed == ""
			name := notation.Visible(u.Name)
			if n := len(u.Takes); n > 0 && n < len(used) {
				name = strings.TrimSpace(name + " (takes " + notation.Visible(strings.Join(u.Takes, ", ")) + ")")
			}
			p.Traced = append(p.Traced, benchRow{notation.UpperFirst(role), []string{or(name), or(u.Serial),
				or(u.Certificate), or(string(u.CalibrationDue)), state}})
		}
		if needed[role] && n == 0 {
			valid = false
			p.Traced = append(p.Traced, benchRow{notation.UpperFirst(role), slices.Repeat([]string{notStated}, 5)})
		}
		if !valid {
			loose = append(loose, role)
		}
	}
	p.Untraced = strings.Join(loose, ", ")
	for _, q := range d.Result.Parts {
		p.Parts = append(p.Parts, benchRow{notation.Visible(q.What), []string{written(q, d.Coil, used), partCells(q)[0]}})
	}
	ppm := 0.0
	for _, t := range used {
		ppm = max(ppm, t.CardLimits().ClockPPM)
	}
	p.Parts = append(p.Parts, benchRow{"Sample clock of the sound card",
		[]string{notation.None, fmt.Sprintf("right within ±%g ppm (limit)", ppm)}})
}

// written is a part as somebody wrote it, with its tolerance: "470p 1%".
func written(q fit.Part, coil capture.Coil, used []capture.Take) string {
	stated := []quantity.Value{}
	if coil.DCR != nil {
		stated = append(stated, coil.DCR.Value)
	}
	for _, t := range used {
		for _, c := range []*quantity.Capacitance{t.Load.AddedC, t.Load.FixtureC} {
			if c != nil {
				stated = append(stated, c.Components()...)
			}
		}
		for _, r := range []*quantity.Resistance{t.Load.AddedR, t.Load.FixtureR, t.Reference.SenseR, t.Drive.ExciterR} {
			if r != nil {
				stated = append(stated, r.Components()...)
			}
		}
	}
	for _, v := range stated {
		if v.SI == q.Nominal && (v.Unit == quantity.Farad) == (q.Unit == "F") {
			return or(v.Text)
		}
	}
	return notation.None
}
