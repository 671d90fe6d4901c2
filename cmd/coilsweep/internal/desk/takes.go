package desk

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"

	"coilsweep/capture"
	"coilsweep/capture/partsfile"
	"coilsweep/excite/quantity"
)

// AtHand stands for the capacitors at hand that suit.
const AtHand = "at hand"

// usual are the capacitors that separate L and C of most coils, farads (typical, no
// source). One at hand stands for a usual one if it is within a factor of suits.
var usual = []struct {
	text  string
	farad float64
}{{"220p", 220e-12}, {"470p", 470e-12}}

const suits = 1.3

// capacitors are those that are connected one after the other: of text, parted by commas,
// or those of mine that suit; where none does, the usual ones without a tolerance.
func capacitors(text string, mine partsfile.Parts) (list []quantity.Capacitance, err error) {
	if text != AtHand {
		for one := range strings.SplitSeq(text, ",") {
			c, err := quantity.ParseCapacitance(strings.TrimSpace(one))
			if err == nil {
				err = quantity.Plausible("added-c", c.Value)
			}
			if err != nil {
				return nil, err
			}
			list = append(list, c)
		}
		return list, nil
	}
	for _, u := range usual {
		best, err := quantity.ParseCapacitance(u.text)
		if err != nil {
			return nil, err
		}
		off := math.Log(suits)
		for _, c := range mine.Capacitors {
			if d := math.Abs(math.Log(c.SI / u.farad)); d < off {
				best, off = c, d
			}
		}
		list = append(list, best)
	}
	return list, nil
}

// Takes are the takes of a coil, one after the other.
type Takes struct {
	Folder     *capture.Folder
	Capacitors []quantity.Capacitance
	Redo       bool
	// Measure makes a take; a *capture.UnfitError is of one that is kept and not usable.
	Measure func(ctx context.Context, name string, added *quantity.Capacitance, redo bool) error
}

// NewTakes are those with nothing added and with the capacitors of text, or of the parts
// at hand, for the coil in folder.
func NewTakes(folder *capture.Folder, text string) (*Takes, error) {
	mine, err := partsfile.Find(folder.Dir)
	if err != nil {
		return nil, err
	}
	t := &Takes{Folder: folder}
	if t.Capacitors, err = capacitors(text, mine); err == nil {
		_, err = t.list()
	}
	return t, err
}

// take is one of them.
type take struct {
	name, connect string
	added         *quantity.Capacitance
}

// list are all of them: nothing added first.
func (t Takes) list() ([]take, error) {
	list := []take{{name: "bare", connect: "connect nothing across the coil"}}
	for _, c := range t.Capacitors {
		size, _, _ := strings.Cut(c.Text, " ")
		one := take{"C" + strings.ReplaceAll(size, ".", "_"), "connect " + c.Text + " across the coil", &c}
		if err := capture.CheckTakeName(one.name); err != nil {
			return nil, err
		}
		for _, before := range list {
			if before.name == one.name {
				return nil, fmt.Errorf("two capacitors make a take %s: value one of them otherwise", one.name)
			}
		}
		list = append(list, one)
	}
	return list, nil
}

// Run makes them, each after somebody connected what it needs and pressed Enter. Takes
// that are there already and usable are kept. made is how many are usable now.
func (t Takes) Run(ctx context.Context, desk *Desk) (made int, err error) {
	list, err := t.list()
	if err != nil {
		return 0, err
	}
	for n, one := range list {
		redo := t.Redo
		if there, err := t.Folder.ReadTake(one.name); err == nil && !redo {
			if there.Unfit() == nil {
				desk.Say("take %s is there already and is kept", one.name)
				made++
				continue
			}
			redo = true
		}
		for {
			answer, err := desk.Ask(ctx, "take %d of %d: %s, then press Enter (s skips it, q ends)", n+1, len(list),
				one.connect)
			if err != nil {
				return made, fmt.Errorf("ended after %d of %d takes, which are kept: start it again to go on", made, len(list))
			}
			if answer == "q" {
				return made, nil
			}
			if answer == "s" {
				break
			}
			err = t.Measure(ctx, one.name, one.added, redo)
			if err == nil {
				made++
				break
			}
			if unfit, ok := errors.AsType[*capture.UnfitError](err); ok {
				desk.Say("%v: correct it and make it again, or skip it", unfit)
				redo = true
				continue
			}
			return made, err
		}
	}
	return made, nil
}
