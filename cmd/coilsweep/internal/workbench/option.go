// Package workbench holds the jobs that a winder does at the bench: the options
// of each job, in one table for command lines, pages and bench.toml, and the plan
// that follows from them. It prints nothing and knows neither command lines nor
// pages.
package workbench

import (
	"errors"
	"fmt"
	"maps"
	"reflect"
	"regexp"
	"slices"
	"strings"

	"coilsweep/capture/benchfile"
	"coilsweep/excite/quantity"
	"coilsweep/report/notation"
)

// Option is one setting of a job. Its value points into the job's own struct.
type Option struct {
	// Name is what command lines and pages call it: "added-c".
	Name  string
	Group string // heading in the help
	Help  string
	Value Value
	// Bare is the value of the option when it is named without one; empty: it
	// needs one.
	Bare string
	// Default is shown in the help in place of the value; "-": nothing is.
	Default string
	// Page: a page may set it. A page may not set file names, or options of the
	// program that serves it.
	Page bool
	// Bench is where bench.toml states the value; nil: it does not.
	Bench *BenchKey
	// Given: somebody set it; FromBench: a bench did, since nobody else had.
	Given, FromBench bool

	texts []string // as somebody gave it, for CommandLine
}

// Set reads the value from text. The error is an *OptionError.
func (o *Option) Set(text string) error {
	if p, ok := o.Value.(*parallel); ok && o.Given {
		text = quantity.Beside(p.String(), text)
	}
	err := o.Value.Set(text)
	if v, ok := quantityOf(o.Value); err == nil && ok {
		v.Insisted = v.Insisted || strings.HasSuffix(text, " "+quantity.InsistWord) // a plain length
		err = quantity.Plausible(o.Name, v)
	}
	if err != nil {
		return &OptionError{Option: o.Name, Given: givenText(text, err), Err: err}
	}
	o.note(text)
	return nil
}

// Unusual are remarks on the values that somebody gave, or a bench did, and that are
// plausible but not usual.
func (o Options) Unusual(fromBench bool) (remarks []string) {
	for _, p := range o {
		if v, ok := quantityOf(p.Value); ok && (p.FromBench && fromBench || p.Given && !fromBench) {
			if text := quantity.Unusual(p.Name, v); text != "" {
				remarks = append(remarks, "{"+p.Name+"}: "+text)
			}
		}
	}
	return remarks
}

// note remembers the text by which the option was given.
func (o *Option) note(text string) {
	if _, several := o.Value.(*List); !several {
		o.texts = nil
	}
	o.Given, o.texts = true, append(o.texts, text)
}

// givenText is text as a complaint repeats it: empty where err quotes it already
// or where it is long.
func givenText(text string, err error) string {
	var choice *choiceError
	switch {
	case errors.As(err, &choice) && !choice.quoted:
		return text
	case text != "" && strings.Contains(err.Error(), text), len(text) > 100:
		return ""
	}
	return fmt.Sprintf("%q", text)
}

// Options are those of one job, in the order of its help.
type Options []*Option

// Find is the option called name; nil where there is none.
func (o Options) Find(name string) *Option {
	if i := slices.IndexFunc(o, func(p *Option) bool { return p.Name == name }); i >= 0 {
		return o[i]
	}
	return nil
}

// Given tells whether somebody set any of the options called so.
func (o Options) Given(names ...string) bool { return o.firstGiven(names) != "" }

func (o Options) firstGiven(names []string) string {
	for _, name := range names {
		if p := o.Find(name); p != nil && p.Given {
			return name
		}
	}
	return ""
}

// only are the options called so, in that order.
func (o Options) only(names ...string) Options { return notation.Each(names, o.Find) }

// Without are all but the options called so.
func (o Options) Without(names ...string) Options {
	return slices.DeleteFunc(slices.Clone(o), func(p *Option) bool { return slices.Contains(names, p.Name) })
}

// AnyGiven is the first option that somebody set; empty: nobody set any.
func (o Options) AnyGiven() string {
	return o.firstGiven(notation.Each(o, func(p *Option) string { return p.Name }))
}

// stated tells whether somebody or a bench has set the option called name.
func (o Options) stated(name string) bool {
	p := o.Find(name)
	return p != nil && (p.Given || p.FromBench)
}

// Fill sets options as a page sends them, by their names; an empty text leaves
// one out, and what may be repeated has commas between its values. An option that a
// page may not set is refused as if it did not exist. The error is an *OptionError.
func (o Options) Fill(texts map[string]string) error {
	for _, name := range slices.Sorted(maps.Keys(texts)) {
		p := o.Find(name)
		if p == nil || !p.Page {
			return &OptionError{Option: name, Err: errors.New("there is no such setting here")}
		}
		values := []string{texts[name]}
		if _, several := p.Value.(*List); several {
			values = SplitList(texts[name])
		}
		for _, text := range values {
			if text == "" {
				continue
			}
			text, err := p.typed(text)
			if err == nil {
				err = p.Set(text)
			}
			if err != nil {
				return err
			}
		}
	}
	return nil
}

// DecimalComma is a comma between digits.
var DecimalComma = regexp.MustCompile(`(\d),(\d)`)

// SplitList is "5%, q=15%" in its parts. A comma between digits is a decimal one.
func SplitList(list string) (parts []string) {
	for part := range strings.SplitSeq(DecimalComma.ReplaceAllString(list, "$1.$2"), ",") {
		if part = strings.TrimSpace(part); part != "" {
			parts = append(parts, part)
		}
	}
	return parts
}

// typed is what somebody typed into a field, with a point for a decimal comma where the
// option holds numbers.
func (o *Option) typed(text string) (string, error) {
	switch o.Value.Type() {
	case "percent":
		return strings.ReplaceAll(text, ",", "."), nil
	case "text", "word", "bool":
		if o.Name != "levels" {
			return text, nil
		}
	}
	pointed, err := quantity.WithPoint(text)
	if err != nil {
		return "", &OptionError{Option: o.Name, Err: err}
	}
	return pointed, nil
}

// Defaults are the values of the options that a page may set, as texts.
func (o Options) Defaults() map[string]string {
	texts := map[string]string{}
	for _, p := range o {
		if text := p.Value.String(); p.Page && text != "" {
			texts[p.Name] = text
		}
	}
	return texts
}

// OptionError says what is wrong with an option. In the text of Err, as in all
// texts of this package, options stand as {name}, and command line or page puts
// its own name there. Text in [[ ]] is for command lines alone.
type OptionError struct {
	Option string
	Given  string // what was given, as it is repeated; empty: it is not
	Err    error
}

func (e *OptionError) Error() string { return e.Say(labelOf) }
func (e *OptionError) Unwrap() error { return e.Err }

var (
	namedOption  = regexp.MustCompile(`\{([a-z][a-z0-9-]*)\}`)
	commandsOnly = regexp.MustCompile(`\[\[.*?\]\]`)
	flagged      = regexp.MustCompile(`(^|[\s(])--([a-z][a-z0-9-]*)`)
)

// ForCommands is a text of this package for a command line: options as name has
// them, with the text in [[ ]].
func ForCommands(text string, name func(option string) string) string {
	text = strings.NewReplacer("[[", "", "]]", "").Replace(text)
	return namedOption.ReplaceAllStringFunc(text, func(m string) string { return name(m[1 : len(m)-1]) })
}

// WithoutFlags is a text with options that stand there as flags by their labels.
func WithoutFlags(text string) string {
	return flagged.ReplaceAllStringFunc(text, func(m string) string {
		before, name, _ := strings.Cut(m, "--")
		return before + labelOf(name)
	})
}

// ForPage is a text of the program for a page: options by their labels, also where
// they stand as flags, without the text in [[ ]].
func ForPage(text string) string {
	text = commandsOnly.ReplaceAllString(WithoutFlags(text), "")
	return namedOption.ReplaceAllStringFunc(text, func(m string) string { return labelOf(m[1 : len(m)-1]) })
}

// Say is the error with the options called as name has it. It begins with the
// option unless its sentence names it.
func (e *OptionError) Say(name func(string) string) string {
	text := ForCommands(e.Err.Error(), name)
	switch {
	case strings.Contains(e.Err.Error(), "{"+e.Option+"}"):
		return text
	case e.Given == "":
		return name(e.Option) + ": " + text
	}
	return name(e.Option) + " " + e.Given + ": " + text
}

// Text is the error as a page shows it beside the field of its option.
func (e *OptionError) Text() string {
	text := ForPage(e.Err.Error())
	if e.Given != "" {
		return e.Given + ": " + text
	}
	return text
}

// Wrong is an *OptionError about option; the format may name others as {name}.
func Wrong(option, format string, args ...any) error {
	return &OptionError{Option: option, Err: fmt.Errorf(format, args...)}
}

// WrongValue is Wrong, with what was given.
func WrongValue(option string, given any, format string, args ...any) error {
	return &OptionError{Option: option, Given: fmt.Sprint(given), Err: fmt.Errorf(format, args...)}
}

// BenchKey is where bench.toml states an option.
type BenchKey struct{ Table, Key string }

func at(table, key string) *BenchKey { return &BenchKey{table, key} }

// field is what b has under the key; a program that names another is wrong.
func (k BenchKey) field(b *benchfile.Bench) reflect.Value {
	called := func(v reflect.Value, key string) reflect.Value {
		for field, of := range v.Fields() {
			if name, _, _ := strings.Cut(field.Tag.Get("toml"), ","); name == key {
				return of
			}
		}
		panic("bench.toml has no key " + key)
	}
	v := reflect.ValueOf(b).Elem()
	if k.Table != "" {
		v = called(v, k.Table)
	}
	return called(v, k.Key)
}

// takeFrom takes the value from a bench; false: the bench does not state it.
func (o *Option) takeFrom(b benchfile.Bench) bool {
	field, value := o.Bench.field(&b), reflect.ValueOf(o.Value.at()).Elem()
	if field.IsZero() {
		return false
	}
	if field.Type() != value.Type() { // a number that may be 0
		field = field.Elem()
	}
	value.Set(field)
	return true
}

// stateIn puts the value into a bench.
func (o *Option) stateIn(b *benchfile.Bench) {
	field, value := o.Bench.field(b), reflect.ValueOf(o.Value.at()).Elem()
	if field.Type() != value.Type() {
		field.Set(reflect.New(value.Type()))
		field = field.Elem()
	}
	field.Set(value)
}

// UsageError is wrong use that is not of one option: the request as a whole
// cannot be met.
type UsageError struct{ Err error }

func (e *UsageError) Error() string { return e.Err.Error() }
func (e *UsageError) Unwrap() error { return e.Err }
