package quantity

import "strings"

// Dielectric is what a capacitor is made of, as far as that tells its loss.
type Dielectric string

// The dielectrics that can be stated; other words are errors. Class 2 ceramics
// are not among them: their capacitance changes with voltage and age.
const (
	// UnstatedDielectric: nothing was said of it.
	UnstatedDielectric Dielectric = ""
	// C0G is class 1 ceramic, also written NP0.
	C0G Dielectric = "C0G"
	// Polypropylene is film of it, "PP".
	Polypropylene Dielectric = "PP"
	// Polyester is film of polyethylene terephthalate, "PET".
	Polyester Dielectric = "polyester"
)

// dielectrics by the words for them in lower case. The 0 of C0G and NP0 is
// mostly typed as a letter.
var dielectrics = map[string]Dielectric{
	"c0g": C0G, "cog": C0G, "np0": C0G, "npo": C0G,
	"pp": Polypropylene, "polypropylene": Polypropylene,
	"pet": Polyester, "polyester": Polyester,
}

const dielectricWords = "C0G (NP0), PP or polyester"

// isWord tells whether a word of two letters or more is at hand; one letter is a
// tolerance.
func (p *parser) isWord() bool {
	letter := func(c byte) bool { return isUpper(c) || isLower(c) }
	return len(p.s) > 1 && letter(p.s[0]) && (letter(p.s[1]) || isDigit(p.s[1]))
}

// word takes the word at hand.
func (p *parser) word() string {
	n := strings.IndexAny(p.s, " ,")
	if n < 0 {
		n = len(p.s)
	}
	word := p.s[:n]
	p.s = p.s[n:]
	return word
}

// dielectric reads that of a capacitor: "C0G", "film PP".
func (p *parser) dielectric(v *Value) error {
	if v.Dielectric != UnstatedDielectric {
		return p.fail("%q is not understood after the dielectric", p.s)
	}
	word := p.word()
	film := strings.EqualFold(word, "film")
	if film {
		p.s = strings.TrimLeft(p.s, " ")
		word = p.word()
	}
	v.Dielectric = dielectrics[strings.ToLower(word)]
	switch {
	case film && v.Dielectric != Polypropylene && v.Dielectric != Polyester:
		return p.fail("film of what? Write film PP or film polyester")
	case v.Dielectric == UnstatedDielectric:
		return p.fail("%q is not understood; of dielectrics, %s can be stated: leave another one out", word,
			dielectricWords)
	}
	return nil
}
