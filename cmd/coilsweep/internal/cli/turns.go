package cli

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"strings"

	"coilsweep/cmd/coilsweep/internal/inguitar"

	"github.com/spf13/cobra"

	"coilsweep/capture"
	"coilsweep/cmd/coilsweep/internal/outfile"
	"coilsweep/cmd/coilsweep/internal/screen"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/excite/exciter"
	"coilsweep/excite/quantity"
	"coilsweep/fit/harness"
	"coilsweep/fit/turns"
	"coilsweep/fit/winding"
	"coilsweep/report/data"
	"coilsweep/report/figure"
	"coilsweep/report/page"
	"coilsweep/report/terminal"
)

// mostRoomM is the deepest room for a winding.
const mostRoomM = 0.1

// toWind are the options of 'turns'.
type toWind struct {
	workbench.Options
	peakHz     float64
	inductance *quantity.Inductance
	resistance *quantity.Resistance
	like       string
	turns      int
	wires      []string
	grade      int
	roomM      float64
	sameReel   bool
}

// wishes are the options of which one says what is wanted.
var wishes = []string{"peak", "inductance", "dcr", "like", "turns"}

func newToWind() *toWind {
	w := &toWind{}
	const wanted, bobbin = "What is wanted, one of", "Wire and bobbin"
	w.Options = workbench.Options{
		{Name: "peak", Group: wanted, Value: workbench.Hertz(&w.peakHz), Help: "peak frequency in the guitar"},
		{Name: "inductance", Group: wanted, Value: workbench.Inductance(&w.inductance), Help: "inductance of the coil"},
		{Name: "dcr", Group: wanted, Value: workbench.Resistance(&w.resistance), Help: "DC resistance, 6.5k@20C"},
		{Name: "like", Group: wanted, Value: workbench.Text(&w.like),
			Help: "folder of another coil, whose peak in the guitar is wanted"},
		{Name: "turns", Group: wanted, Value: workbench.Whole(&w.turns), Default: "-",
			Help: "so many turns: what the coil would be"},
		{Name: "wire", Group: bobbin, Value: workbench.TextList(&w.wires),
			Help: `wire at hand, "AWG 43" or "0.056mm" (may be repeated; default: sizes about the coil's)`},
		{Name: "grade", Group: bobbin, Value: workbench.Whole(&w.grade), Default: "-",
			Help: "its insulation build: 1 or 2 (default: both)"},
		{Name: "room", Group: bobbin, Value: workbench.MetresBelow(&w.roomM, mostRoomM),
			Help: "how deep a winding may be (default: winding.room of coil.toml)"},
		{Name: "same-reel", Group: bobbin, Value: workbench.Switch(&w.sameReel), Bare: "true",
			Help: "the wire comes from the measured coil's reel"},
	}
	return w
}

// request is what is asked for, without the coils.
func (w *toWind) request(guitar harness.Harness) (q turns.Request, err error) {
	var given []string
	for _, name := range wishes {
		if w.Given(name) {
			given = append(given, "--"+name)
		}
	}
	switch {
	case len(given) == 0:
		return q, usagef("what is wanted? Use one of --%s", strings.Join(wishes, ", --"))
	case len(given) > 1:
		return q, usagef("%s: want one of them", strings.Join(given, " and "))
	case w.Given("turns") && !(w.turns >= 20 && w.turns <= 1e6):
		return q, usagef("--turns %d: want 20 to 1000000", w.turns)
	case w.Given("peak") && !(w.peakHz >= 100 && w.peakHz <= 20e3):
		return q, usagef("--peak: want 100 Hz to 20 kHz")
	case w.inductance != nil && !(w.inductance.SI > 0), w.resistance != nil && !(w.resistance.SI > 0):
		return q, usagef("%s: want a value above zero", given[0])
	case w.Given("grade") && (w.grade < 1 || w.grade > exciter.Grades):
		return q, usagef("--grade %d: want 1 or 2", w.grade)
	}
	q = turns.Request{Guitar: guitar, RoomM: w.roomM, SameReel: w.sameReel,
		Wish: turns.Wish{Inductance: w.inductance, Resistance: w.resistance, Turns: w.turns}}
	if w.Given("peak") {
		q.Wish.Peak = &w.peakHz
	}
	if w.Given("grade") {
		q.Grades = []int{w.grade}
	}
	for _, text := range w.wires {
		wire, err := exciter.ParseWire(text)
		if err != nil {
			return q, &workbench.OptionError{Option: "wire", Err: err}
		}
		q.Wires = append(q.Wires, wire)
	}
	return q, nil
}

func newTurns(c *console) *cobra.Command {
	options := workbench.NewFit(false)
	guitar := inguitar.NewGuitar(false)
	wind := newToWind()
	picture, html := outfile.File{Option: "plot"}, outfile.File{Option: "out"}
	return c.command(&cobra.Command{
		Use:   "turns DIR [DIR...]",
		Short: "Work out what to wind: turns and wire for a wanted peak, L, R or another coil's sound",
		Long: `Work out what to wind from a measured coil, or from several of one bobbin: how many
turns of which wire give what is wanted and fit the bobbin, and what that coil would
do, alone and in the guitar. coil.toml states under [winding] the wire, its grade
(insulation build), the turns, the core, the height, and the room for the winding.

U95 covers the measured coil, the laws that lead from one winding to another, the
wire's tolerance and the guitar's parts. With two coils or more of one bobbin the
exponents of these laws are fitted.`,
		Example: `  coilsweep turns bridge --peak 4.5k --volume 500k --cable 470p
  coilsweep turns bridge neck middle --inductance 3.2H --wire "AWG 43" --grade 1
  coilsweep turns bridge --like old --harness guitar.toml --plot options.png`,
		Args: someDirs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			h, _, err := guitar.Plan(1)
			if err != nil {
				return err
			}
			request, err := wind.request(h)
			if err != nil {
				return err
			}
			html.Force = picture.Force
			if err := cmp.Or(needs(cmd, "force", "plot", "out"), picture.Check(".svg", ".pdf", ".png"),
				html.Check(".html")); err != nil {
				return err
			}
			for _, dir := range args {
				folder, err := capture.OpenFolder(dir)
				if err != nil {
					return err
				}
				plan, err := winding.PlanOf(folder.Coil)
				if err != nil {
					return fmt.Errorf("%s: %w", dir, err)
				}
				celsius, stated := winding.Celsius(folder.Coil)
				if !stated {
					c.warn("%s: no temperature is stated: %g °C is assumed for its takes", dir, celsius)
				}
				request.Coils = append(request.Coils, turns.Coil{Name: folder.Coil.Name, Plan: plan, Celsius: celsius})
			}
			if err := request.Check(); err != nil {
				return err
			}
			coils, _, unfit, err := c.inGuitar(cmd.Context(), args, options)
			if err != nil {
				return err
			}
			for i, coil := range coils {
				request.Coils[i].Fitted = coil.Fitted
			}
			if wind.like != "" {
				like, _, notUsable, err := c.inGuitar(cmd.Context(), []string{wind.like}, options)
				if err != nil {
					return err
				}
				request.Wish.Like, unfit = &like[0], errors.Join(unfit, notUsable)
			}
			sheet, err := turns.Plan(request)
			if err != nil {
				return err
			}
			printing := printingTo(picture)
			if err := c.writeFiles([]filled{
				{picture, func(w io.Writer) error { return figure.PrintTurns(w, *sheet, printing) }},
				{html, func(w io.Writer) error { return page.Turns(w, *sheet, printing.Made, programName()) }},
			}); err != nil {
				return err
			}
			return c.show(func(w io.Writer) error { return data.TurnsJSON(w, *sheet) },
				func(w io.Writer) error { return terminal.Turns(w, *sheet, screen.TableOptions(w)) }, unfit)
		},
	}, wind.Options, guitar.Options, options.Options, output(
		text("plot", "write the responses to FILE.svg, .pdf or .png", &picture.Path),
		text("out", "write a page with pictures to FILE.html", &html.Path), forceOption(&picture.Force),
		c.jsonOption("the options")))
}
