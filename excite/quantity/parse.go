package quantity

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"
)

// ParseError is a text that cannot be read: what was typed, what is wrong with
// it, and what is accepted.
type ParseError struct {
	Text   string
	Unit   Unit
	Reason string
}

func (e *ParseError) Error() string {
	return fmt.Sprintf("%q is not a valid %s: %s (accepted, for example: %s)", e.Text, units[e.Unit].noun, e.Reason,
		units[e.Unit].examples)
}

// unitRules are the rules of Parse for one unit.
type unitRules struct {
	noun, examples string
	words          []string // spellings of the unit, longest first
	prefixes       string   // prefixes that make sense with it
	code           string   // letters of the IEC 60062 letter code
	bare           bool     // a prefix may stand without the unit
	min, max       float64  // range that is accepted, in the unit
}

// The letters R K M G T and p n u m F are those of IEC 60062:2016, 3.1 and
// 3.2; H in the place of the decimal mark follows the same scheme. Lower-case
// k is accepted beside K as common practice.
var units = map[Unit]unitRules{
	Ohm: {"resistance", `"470", "4k7", "7.85k@22C 0.5%", "1Mohm 1%"`,
		[]string{"ohms", "ohm", "R"}, "mkKMGT", "RkKMGTm", true, 1e-6, 1e13},
	Farad: {"capacitance", `"470p", "2n2 5%", "470p 1% C0G", "470p 0.3% U95"`,
		[]string{"farad", "F"}, "fpnum", "pnumF", true, 1e-18, 1},
	Henry: {"inductance", `"2.41H", "220u", "10mH 5%"`,
		[]string{"henry", "H"}, "pnum", "numH", true, 1e-12, 1e3},
	Hertz: {"frequency", `"20", "20k", "4.37kHz"`,
		[]string{"hertz", "Hz"}, "mkKMG", "kKMG", true, 1e-6, 1e12},
	Second: {"duration", `"6s", "500ms", "1.5"`,
		[]string{"s"}, "num", "", false, 1e-9, 1e7},
	Metre: {"length", `"12mm", "63um", "1.5m", "2cm"`,
		[]string{"metre", "m"}, "numck", "", false, 1e-9, 1e7},
	Ratio: {"number", `"2.27", "0.44 1% + 5 digits"`,
		nil, "", "", false, 1e-9, 1e9},
	Volt: {"voltage", `"1", "500m", "1.2V"`,
		[]string{"volt", "V"}, "numk", "", true, 1e-9, 1e6},
}

var prefixExponent = map[byte]int{
	'f': -15, 'p': -12, 'n': -9, 'u': -6, 'm': -3, 'c': -2,
	'k': 3, 'K': 3, 'M': 6, 'G': 9, 'T': 12,
	'R': 0, 'F': 0, 'H': 0, // in the letter code
}

// maxText bounds the text that is read; no value needs more.
const maxText = 100

// Parse reads a value with its tolerance and, for a resistance, its
// temperature; the package comment shows the notation. Every error is a
// *ParseError. The size is the decimal number rounded once.
func Parse(text string, unit Unit) (Value, error) {
	if _, ok := units[unit]; !ok {
		return Value{}, fmt.Errorf("quantity: unit %q is not known", unit)
	}
	if strings.Contains(text, parallelSign) {
		return parseParallel(text, unit)
	}
	p := parser{typed: text, unit: unit, rules: units[unit]}
	v, err := p.value()
	if err != nil {
		return Value{}, err
	}
	return v, nil
}

// ParseSeconds reads a duration such as "6s", "500ms" or "6" and gives it in
// seconds.
func ParseSeconds(text string) (float64, error) { return parsePlain(text, Second) }

// ParseHertz reads a frequency such as "20", "20k" or "4.37 kHz" and gives it
// in hertz.
func ParseHertz(text string) (float64, error) { return parsePlain(text, Hertz) }

// ParseMetres reads a length such as "12mm" or "63um" and gives it in metres.
func ParseMetres(text string) (float64, error) { return parsePlain(text, Metre) }

// ParseVolts reads a voltage such as "500m" or "1.2V" and gives it in volts.
func ParseVolts(text string) (float64, error) { return parsePlain(text, Volt) }

func parsePlain(text string, unit Unit) (float64, error) {
	v, err := Parse(text, unit)
	if err != nil {
		return 0, err
	}
	if v.Basis != Unstated {
		return 0, &ParseError{text, unit, "a tolerance has no meaning here"}
	}
	return v.SI, nil
}

// spellings brings typographic variants to the ASCII that the parser knows.
var spellings = strings.NewReplacer(
	"\u00b5", "u", "\u03bc", "u", // micro sign, Greek mu
	"\u03a9", "ohm", "\u2126", "ohm", // Greek omega, ohm sign
	"+/-", "±", "+-", "±",
	"℃", "C", "°", "", "º", "",
	"−", "-", "–", "-",
	"\u00a0", " ", "\u2009", " ", "\u202f", " ", "\t", " ",
)

type parser struct {
	typed string
	unit  Unit
	rules unitRules
	s     string // the rest to read
}

func (p *parser) fail(format string, args ...any) error {
	text := p.typed
	if len(text) > maxText {
		text = text[:maxText] + "..."
	}
	return &ParseError{text, p.unit, fmt.Sprintf(format, args...)}
}

func (p *parser) value() (Value, error) {
	var v Value
	if len(p.typed) > maxText || !utf8.ValidString(p.typed) {
		return v, p.fail("it is too long or not text")
	}
	text, insisted := strings.CutSuffix(strings.TrimSpace(p.typed), " "+InsistWord)
	p.s = strings.TrimSpace(spellings.Replace(text))
	if p.s == "" {
		return v, p.fail("nothing was given")
	}
	if farad, ok := marked(p.s); ok && p.unit == Farad {
		return v, p.fail("a prefix is missing. As the marking of a capacitor it is %s: write %q",
			Format(farad, Farad, 2), strings.TrimSuffix(exactText(farad, Farad), string(Farad)))
	}
	size, err := p.size()
	if err != nil {
		return v, err
	}
	v = Value{SI: size.si, Unit: p.unit, Insisted: insisted, Text: strings.TrimSpace(p.typed)}
	if p.s != "" && !p.endsToken(0) {
		// Nothing but a tolerance letter may be written on to the value.
		if !isUpper(p.s[0]) || !p.endsToken(1) || !size.scaled && p.s[0] != 'F' && p.s[0] != 'H' {
			return v, p.notUnderstood()
		}
		if err := p.toleranceLetter(&v, size, true); err != nil {
			return v, err
		}
	}
	if size.si < p.rules.min || size.si > p.rules.max {
		return v, p.fail("it reads as %g %s; is a prefix missing or wrong?", size.si, p.unit)
	}
	for p.s != "" {
		switch {
		case p.s[0] == '@':
			err = p.temperature(&v)
		case p.s[0] == ' ' || p.s[0] == ',':
			err = p.separated(&v, size)
		default:
			err = p.notUnderstood()
		}
		if err != nil {
			return v, err
		}
	}
	return v, nil
}

// notUnderstood says so of what is left.
func (p *parser) notUnderstood() error {
	if _, ok := prefixExponent[p.s[0]]; ok && strings.IndexByte(p.rules.prefixes+"FHR", p.s[0]) < 0 {
		return p.fail("the prefix in %q does not suit it (m is milli, M is mega)", p.s)
	}
	return p.fail("%q is not understood", p.s)
}

// decimalComma tells whether a comma with a digit follows, and the error to
// give where no tolerance can be meant.
func (p *parser) decimalComma() (bool, error) {
	return len(p.s) > 1 && p.s[0] == ',' && isDigit(p.s[1]),
		p.fail("a comma is not read as a decimal point; write a point (\"4.7k\"), or a blank before a tolerance " +
			"(\"470p 2p\")")
}

// sized is a number with its prefix and unit.
type sized struct {
	si     float64
	digit  float64 // one unit in the last place as written
	scaled bool    // a prefix, a unit or a code letter was written
	unit   bool    // the unit was written
	code   bool    // a letter stands in place of the decimal mark
}

// size reads a number with prefix and unit, or in the letter code.
func (p *parser) size() (sized, error) {
	var out sized
	if p.s[0] == '-' {
		return out, p.fail("it must be greater than zero")
	}
	whole := p.digits()
	fraction, exponent := "", 0
	switch {
	case len(p.s) > 0 && p.s[0] == '.':
		p.s = p.s[1:]
		fraction = p.digits()
		if whole == "" && fraction == "" {
			return out, p.fail("there is no number in it")
		}
	case len(p.s) > 1 && strings.IndexByte(p.rules.code, p.s[0]) >= 0 && isDigit(p.s[1]):
		// Letter code: the letter stands in place of the decimal mark.
		exponent = prefixExponent[p.s[0]]
		out.scaled, out.code, out.unit = true, true, strings.IndexByte("RFH", p.s[0]) >= 0
		p.s = p.s[1:]
		fraction = p.digits()
		if word := p.unitWord(); word != "" && !(out.unit && len(word) == 1) {
			p.s, out.unit = p.s[len(word):], true
		}
		return p.finish(out, whole, fraction, exponent)
	}
	if whole == "" && fraction == "" {
		return out, p.fail("it does not begin with a number")
	}
	if n, length := p.powerOfTen(); length > 0 {
		exponent = n
		p.s = p.s[length:]
	}
	prefix, length, unit := p.prefixAndUnit()
	if length > 0 {
		out.scaled, out.unit = true, unit
		exponent += prefix
		p.s = p.s[length:]
	}
	return p.finish(out, whole, fraction, exponent)
}

// finish rounds the decimal number once.
func (p *parser) finish(out sized, whole, fraction string, exponent int) (sized, error) {
	si, err := strconv.ParseFloat(whole+"."+fraction+"e"+strconv.Itoa(exponent), 64)
	if err != nil || math.IsInf(si, 0) {
		return out, p.fail("the number cannot be read")
	}
	if comma, err := p.decimalComma(); si == 0 && comma {
		return out, err
	}
	if si == 0 {
		return out, p.fail("it must be greater than zero")
	}
	out.si = si
	out.digit = math.Pow10(exponent - len(fraction))
	return out, nil
}

func (p *parser) digits() string {
	before := p.s
	p.s = strings.TrimLeft(before, "0123456789")
	return before[:len(before)-len(p.s)]
}

// powerOfTen looks for an exponent such as e-12; length 0 where there is none.
func (p *parser) powerOfTen() (exponent, length int) {
	if p.s == "" || p.s[0] != 'e' && p.s[0] != 'E' {
		return 0, 0
	}
	n := 1
	if n < len(p.s) && (p.s[n] == '-' || p.s[n] == '+') {
		n++
	}
	digits := n
	for n < len(p.s) && isDigit(p.s[n]) {
		n++
	}
	e, err := strconv.Atoi(p.s[1:n])
	if n == digits || err != nil || e < -400 || e > 400 {
		return 0, 0
	}
	return e, n
}

// prefixAndUnit looks, after at most one run of blanks, for a prefix, a unit
// or both.
func (p *parser) prefixAndUnit() (exponent, length int, unit bool) {
	whole := p.s
	defer func() { p.s = whole }()
	p.s = strings.TrimLeft(p.s, " ")
	blanks := len(whole) - len(p.s)
	if p.s == "" {
		return 0, 0, false
	}
	isPrefix := strings.IndexByte(p.rules.prefixes, p.s[0]) >= 0
	if isPrefix {
		exponent = prefixExponent[p.s[0]]
		p.s = p.s[1:]
		// R is a unit in "470R", but not in "4kR".
		if word := p.unitWord(); word != "" && word != "R" {
			return exponent, blanks + 1 + len(word), true
		}
		p.s = whole[blanks:]
	}
	if word := p.unitWord(); word != "" && word != "f" {
		return 0, blanks + len(word), true
	}
	if isPrefix && p.rules.bare && p.s[0] != 'f' && p.endsPrefix() {
		return exponent, blanks + 1, false
	}
	return 0, 0, false
}

// endsPrefix tells whether the prefix at hand stands alone or with only a
// tolerance letter after it.
func (p *parser) endsPrefix() bool {
	return p.endsToken(1) || len(p.s) > 1 && isUpper(p.s[1]) && p.endsToken(2)
}

// endsToken tells whether the token ends after n bytes.
func (p *parser) endsToken(n int) bool {
	return len(p.s) == n || strings.IndexByte(" ,@", p.s[n]) >= 0
}

// unitWord is the spelling of the unit that p.s begins with. Case matters for
// R, s and m only.
func (p *parser) unitWord() string {
	for _, word := range p.rules.words {
		if len(p.s) < len(word) {
			continue
		}
		got := p.s[:len(word)]
		after := len(p.s) == len(word) || !isLower(p.s[len(word)])
		if after && (got == word || !strings.Contains("Rsm", word) && strings.EqualFold(got, word)) {
			return got
		}
	}
	return ""
}

// separated reads what stands after a blank or a comma: a tolerance or a
// temperature.
func (p *parser) separated(v *Value, size sized) error {
	rest := strings.TrimLeft(p.s, " ")
	comma := rest != "" && rest[0] == ','
	if comma {
		rest = rest[1:]
	}
	p.s = strings.TrimLeft(rest, " ")
	switch {
	case p.s == "":
		return p.fail("the tolerance after the comma is missing")
	case p.s[0] == '@' && !comma:
		return nil
	case p.unit == Farad && p.isWord():
		return p.dielectric(v)
	case v.Basis != Unstated:
		return p.fail("%q is not understood after the tolerance", p.s)
	case isUpper(p.s[0]) && p.endsToken(1):
		return p.toleranceLetter(v, size, false)
	}
	return p.tolerance(v, size, comma && isDigit(rest[0]))
}

// tolerance reads "1%", "±2pF", "0.3% U95", "0.5% + 2 digits". A digit right
// after a comma may be meant as a decimal: then only a percentage is accepted.
func (p *parser) tolerance(v *Value, size sized, afterComma bool) error {
	_, decimalComma := p.decimalComma()
	if strings.HasPrefix(p.s, "±") {
		p.s = strings.TrimLeft(strings.TrimPrefix(p.s, "±"), " ")
		afterComma = false
	}
	if p.s == "" || !isDigit(p.s[0]) && p.s[0] != '.' {
		if afterComma {
			return decimalComma
		}
		return p.fail("%q is not understood as a tolerance; write for example 1%% or ±2p", p.s)
	}
	before := p.s
	whole, fraction := p.digits(), ""
	if len(p.s) > 0 && p.s[0] == '.' {
		p.s = p.s[1:]
		fraction = p.digits()
	}
	if rest := strings.TrimLeft(p.s, " "); rest != "" && rest[0] == '%' {
		percent, err := strconv.ParseFloat(whole+"."+fraction, 64)
		if err != nil {
			return p.fail("the tolerance cannot be read")
		}
		p.s = rest[1:]
		half := percent / 100 * v.SI
		if rest := strings.TrimLeft(p.s, " "); rest != "" && rest[0] == '+' {
			p.s = strings.TrimLeft(rest[1:], " ")
			n, ok := p.meterDigits()
			if !ok {
				return p.fail("after the + the meter's digits are wanted, as in 0.5%% + 2 digits")
			}
			half += n * size.digit
		}
		return p.state(v, half)
	}
	p.s = before
	if n, ok := p.meterDigits(); ok {
		return p.state(v, n*size.digit)
	}
	if afterComma {
		return decimalComma
	}
	half, err := p.size()
	if err != nil {
		return err
	}
	if !half.scaled && p.unit != Ratio {
		return p.fail("the tolerance needs a %% or a unit")
	}
	return p.state(v, half.si)
}

// meterDigits reads a number of digits of a meter: "2 digits", "5 counts".
func (p *parser) meterDigits() (n float64, ok bool) {
	before := p.s
	whole := p.digits()
	rest := strings.TrimLeft(p.s, " ")
	for _, word := range []string{"digits", "digit", "dgts", "dgt", "counts", "count", "d"} {
		if whole != "" && strings.HasPrefix(rest, word) {
			p.s = rest[len(word):]
			if p.endsToken(0) {
				n, err := strconv.ParseFloat(whole, 64)
				return n, err == nil
			}
		}
	}
	p.s = before
	return 0, false
}

// state notes a half-width and reads whether it is an expanded uncertainty.
func (p *parser) state(v *Value, half float64) error {
	if !(half > 0) {
		return p.fail("a tolerance of zero is not accepted; leave it out if you do not know it")
	}
	if half >= v.SI {
		return p.fail("the tolerance is as large as the value")
	}
	v.Half, v.Basis = half, Limit
	rest := strings.TrimLeft(p.s, " ")
	if len(rest) >= 3 && strings.EqualFold(rest[:3], "U95") {
		v.Basis = Expanded
		p.s = rest[3:]
	}
	return nil
}

// tolerancePercent is the letter code for symmetric tolerances of
// IEC 60062:2004, clause 5 (W and H not checked against its text).
var tolerancePercent = map[byte]float64{
	'W': 0.05, 'B': 0.1, 'C': 0.25, 'D': 0.5,
	'F': 1, 'G': 2, 'H': 3, 'J': 5, 'K': 10, 'M': 20,
}

// toleranceLetter reads a tolerance letter of IEC 60062, written on to the
// value (attached) or apart.
func (p *parser) toleranceLetter(v *Value, size sized, attached bool) error {
	letter := p.s[0]
	foreign := letter == 'F' && p.unit != Farad || letter == 'H' && p.unit != Henry
	switch {
	case strings.IndexByte("SZQT", letter) >= 0:
		return p.fail("the tolerance %c is not the same upwards and downwards; give the measured value, or a "+
			"symmetric tolerance", letter)
	case p.unit != Ohm && p.unit != Farad && p.unit != Henry:
		return p.notUnderstood()
	case foreign && (!size.scaled || attached && p.unit != Ohm):
		return p.fail("%c reads as another unit; if a tolerance is meant, write it in percent", letter)
	case string(letter) == string(p.unit) && !size.unit:
		return p.fail("%c could be the unit or a tolerance; write the unit without a blank, or the tolerance in percent",
			letter)
	}
	if foreign && attached && !size.code {
		return p.fail("%c reads as another unit; if a tolerance is meant, write it in percent", letter)
	}
	percent, ok := tolerancePercent[letter]
	if !ok {
		return p.fail("%c is not a tolerance letter", letter)
	}
	half := percent / 100 * v.SI
	if p.unit == Farad && v.SI < 10e-12 {
		switch letter {
		case 'B', 'C', 'D':
			// On capacitors under 10 pF these are ±0.1, ±0.25, ±0.5 pF.
			half = map[byte]float64{'B': 0.1e-12, 'C': 0.25e-12, 'D': 0.5e-12}[letter]
		case 'F', 'G':
			return p.fail("under 10 pF the letter %c is used for percent and for picofarad; write the tolerance out",
				letter)
		}
	}
	p.s = p.s[1:]
	return p.state(v, half)
}

// temperature reads "@22C".
func (p *parser) temperature(v *Value) error {
	if p.unit != Ohm {
		return p.fail("a temperature is only understood with a resistance")
	}
	if v.Celsius != nil {
		return p.fail("there are two temperatures")
	}
	p.s = strings.TrimLeft(p.s[1:], " ")
	sign := ""
	if p.s != "" && p.s[0] == '-' {
		sign, p.s = "-", p.s[1:]
	}
	number := p.digits()
	if len(p.s) > 1 && p.s[0] == '.' && isDigit(p.s[1]) {
		p.s = p.s[1:]
		number += "." + p.digits()
	}
	celsius, err := strconv.ParseFloat(sign+number, 64)
	p.s = strings.TrimLeft(p.s, " ")
	if err != nil || p.s == "" || p.s[0] != 'C' || !p.endsToken(1) {
		return p.fail("the temperature must be in °C, as in @22C")
	}
	if celsius < -80 || celsius > 250 {
		return p.fail("a temperature of %g °C is out of range", celsius)
	}
	p.s = p.s[1:]
	v.Celsius = &celsius
	return nil
}

func isDigit(c byte) bool { return '0' <= c && c <= '9' }
func isUpper(c byte) bool { return 'A' <= c && c <= 'Z' }
func isLower(c byte) bool { return 'a' <= c && c <= 'z' }
