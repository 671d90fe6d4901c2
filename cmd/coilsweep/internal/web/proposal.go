package web

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"coilsweep/capture"
	"coilsweep/capture/partsfile"
	"coilsweep/capture/rooted"
	"coilsweep/cmd/coilsweep/internal/web/recorded"
	"coilsweep/excite/quantity"
	"coilsweep/report/notation"
)

// proposal is what is likely connected across the coil for the next take.
type proposal struct {
	Kind  string `json:"kind"` // "bare", "c" or "r"
	Value string `json:"value"`
	Redo  string `json:"redo"` // a take that is to be made again; empty: none
}

// connected is what was across the coil when a take was started, as far as is known.
type connected struct {
	proposal
	At int64 `json:"at"` // in ms since 1970; 0: nothing is known
}

// words are "470 pF" for a load, as it is said on a button; empty: nothing is
// connected, or its value cannot be read.
func (p proposal) words() string {
	if unit, part := partUnits[p.Kind]; part {
		if v, err := quantity.Parse(p.Value, unit); err == nil {
			return notation.Tied(notation.Nominal(v.SI, unit))
		}
	}
	return ""
}

var partUnits = map[string]quantity.Unit{"c": quantity.Farad, "r": quantity.Ohm}

// chip is the button that prepares what is proposed; nil: it says nothing that the form
// does not say already.
func (p proposal) chip(takes []recorded.Take) *action {
	options := map[string]string{}
	if p.Value != "" {
		options["added-"+p.Kind] = p.Value
	}
	a := action{Do: "prepare", Step: "takes", Options: options, Redo: p.Redo, Label: "Next: " + p.words()}
	switch {
	case len(takes) == 0, p.Kind != "bare" && p.words() == "":
		return nil
	case p.Redo != "":
		a.Label = "Again: " + p.Redo
	case p.Kind == "bare":
		a.Label = "Next: nothing added"
	}
	return &a
}

// connectedNow is what was connected for the take that was started last, kept or not.
func (w *workshop) connectedNow(coil string, takes []recorded.Take) connected {
	w.mu.Lock()
	now, known := w.connected[coil]
	w.mu.Unlock()
	if last := recorded.Latest(takes); last != nil && (!known || last.Started.UnixMilli() > now.At) {
		return connected{newProposal(last.Options()), last.Started.UnixMilli()}
	}
	if !known {
		now.Kind = "bare"
	}
	return now
}

// newProposal is the load that options name.
func newProposal(options map[string]string) proposal {
	switch {
	case options["added-c"] != "":
		return proposal{Kind: "c", Value: options["added-c"]}
	case options["added-r"] != "":
		return proposal{Kind: "r", Value: options["added-r"]}
	}
	return proposal{Kind: "bare"}
}

// propose says what is likely next: an unusable take again; nothing connected
// across the coil; what the result asks for; a capacitor that the coil has not met.
func (v *coilView) propose(used []string) proposal {
	if last := recorded.Latest(v.Takes); last != nil && !last.Usable {
		p := newProposal(last.Options())
		p.Redo = last.Name
		return p
	}
	good := recorded.Usable(v.Takes)
	if !slices.ContainsFunc(good, func(t recorded.Take) bool { return t.AddedC == "" && t.AddedR == "" }) {
		return proposal{Kind: "bare"}
	}
	for _, a := range v.proposals() {
		if a.Options != nil {
			return newProposal(a.Options)
		}
	}
	for _, c := range slices.Concat(partsfile.Texts(v.mine.Capacitors), used) {
		if !slices.ContainsFunc(good, func(t recorded.Take) bool { return t.AddedC == c }) {
			return proposal{Kind: "c", Value: c}
		}
	}
	return proposal{Kind: "c"}
}

// advised is an advice of the fit, with the button that prepares it.
type advised struct {
	Text string
	action
}

// proposals are the next measurements that the result asks for.
func (v *coilView) proposals() (all []advised) {
	if v.Result == nil {
		return nil
	}
	for _, a := range v.Result.Advice {
		one := advised{a.Text, action{Do: "go", Step: "takes", Label: "Takes"}}
		add := func(option, kind string, size float64, unit quantity.Unit) {
			if size <= 0 {
				return
			}
			options := map[string]string{option: partText(size, unit) + " 1%", "take": partName(kind, size)}
			if a.Part != "" {
				options = map[string]string{option: a.Part, "take": partName(kind, size)}
			}
			one.action = action{Do: "prepare", Step: "takes", Label: "Prepare this take", Options: options}
		}
		add("added-c", "c", a.AddedC, quantity.Farad)
		add("added-r", "r", a.AddedR, quantity.Ohm)
		all = append(all, one)
	}
	return all
}

// partText is a size as people write it on a part: "1.5n".
func partText(size float64, unit quantity.Unit) string {
	number, prefixed, _ := strings.Cut(quantity.Format(size, unit, 2), " ")
	return number + strings.TrimRight(prefixed, "FΩ")
}

// partName is a part's size as it may stand in a name: "c470", "c2n2", "r100k".
func partName(kind string, size float64) string {
	unit, base := quantity.Ohm, ""
	if kind == "c" {
		unit, base = quantity.Farad, "p"
	}
	number, prefixed, _ := strings.Cut(notation.Nominal(size, unit), " ")
	prefix := strings.ReplaceAll(strings.TrimRight(prefixed, "FΩ"), "µ", "u")
	whole, decimals, broken := strings.Cut(number, ".")
	switch {
	case broken && prefix == "":
		prefix = "r"
	case !broken && prefix == base:
		prefix = ""
	}
	return kind + whole + prefix + decimals
}

// proposeTake names a take after what is connected across the coil, "bare", "c470",
// "r100k", with a number where that is taken; nothing for a value that cannot be
// read.
func proposeTake(folder *capture.Folder, options map[string]string) string {
	stem, load := "bare", newProposal(options)
	if unit, part := partUnits[load.Kind]; part {
		text, err := quantity.WithPoint(load.Value)
		if err != nil {
			return ""
		}
		v, err := quantity.Parse(text, unit)
		if err != nil {
			return ""
		}
		stem = partName(load.Kind, v.SI)
	}
	return freeTake(folder, stem)
}

// freeTake is stem, with a number where a take or an unfinished recording has that
// name.
func freeTake(folder *capture.Folder, stem string) string {
	for n := 1; ; n++ {
		name := stem
		if n > 1 {
			name = fmt.Sprintf("%s-%d", stem, n)
		}
		if !takenName(folder, name) {
			return name
		}
	}
}

func takenName(folder *capture.Folder, name string) bool {
	entries, _ := rooted.ReadDir(filepath.Join(folder.Dir, "takes"))
	return slices.ContainsFunc(entries, func(e os.DirEntry) bool {
		of, rest, _ := strings.Cut(e.Name(), ".")
		return strings.EqualFold(of, name) && (rest == "" || strings.HasPrefix(rest, "partial"))
	})
}
