package batch

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/BurntSushi/toml"

	"coilsweep/capture/tomlkey"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/comparison"
)

const limitsSchema = "coilsweep.limits/1"

// limitText is one table of a limits file.
type limitText struct {
	Min     string `toml:"min"`
	Max     string `toml:"max"`
	Nominal string `toml:"nominal"`
}

// ParseLimits reads a limits file: a table for each quantity, called as in
// result.json, with min, max or both, or a nominal value with its tolerance.
//
//	schema = "coilsweep.limits/1"
//	[inductance_h]
//	nominal = "2.4H 5%"
//	[bare_q]
//	min = "3"
//
// Keys that do not exist are errors.
func ParseLimits(data []byte) (map[string]Limits, error) {
	var file map[string]toml.Primitive
	md, err := toml.Decode(string(data), &file)
	if err != nil {
		return nil, tomlkey.Wrap(err)
	}
	var schema string
	if p, ok := file["schema"]; !ok || md.PrimitiveDecode(p, &schema) != nil || schema != limitsSchema {
		return nil, fmt.Errorf("schema is %q, this program reads %q", schema, limitsSchema)
	}
	delete(file, "schema")
	texts := map[string]limitText{}
	for key, p := range file {
		if !slices.Contains(comparison.PropertyKeys(), key) {
			return nil, fmt.Errorf("there is no quantity %q: want one of %s", key,
				strings.Join(comparison.PropertyKeys(), ", "))
		}
		var text limitText
		if err := md.PrimitiveDecode(p, &text); err != nil {
			return nil, fmt.Errorf("%s: want a table with min, max or nominal, each in quotes", key)
		}
		texts[key] = text
	}
	if unknown := md.Undecoded(); len(unknown) > 0 {
		return nil, fmt.Errorf("there is no key %q: correct or remove it", unknown[0].String())
	}
	if len(texts) == 0 {
		return nil, errors.New("there is no limit in it")
	}
	limits := map[string]Limits{}
	for key, text := range texts {
		property, _ := comparison.PropertyNamed(key)
		if limits[key], err = text.limits(property); err != nil {
			return nil, fmt.Errorf("%s: %w", key, err)
		}
	}
	return limits, nil
}

func (t limitText) limits(p comparison.Property) (Limits, error) {
	l := Limits{Lower: math.Inf(-1), Upper: math.Inf(1), Named: true}
	if t.Nominal != "" {
		if t.Min != "" || t.Max != "" {
			return l, errors.New("nominal and min or max contradict each other")
		}
		v, err := parseLimit(t.Nominal, p)
		if err != nil {
			return l, err
		}
		if !(v.Half > 0) {
			return l, fmt.Errorf("%q has no tolerance: write for example \"2.4H 5%%\"", t.Nominal)
		}
		l.Lower, l.Upper = v.SI-v.Half, v.SI+v.Half
		return l, nil
	}
	for _, bound := range []struct {
		text string
		to   *float64
	}{{t.Min, &l.Lower}, {t.Max, &l.Upper}} {
		if bound.text == "" {
			continue
		}
		v, err := parseLimit(bound.text, p)
		if err != nil {
			return l, err
		}
		if v.Half != 0 {
			return l, fmt.Errorf("%q: a limit has no tolerance", bound.text)
		}
		*bound.to = v.SI
	}
	switch {
	case t.Min == "" && t.Max == "":
		return l, errors.New("want min, max or nominal")
	case l.Lower >= l.Upper:
		return l, fmt.Errorf("min %s is not below max %s", t.Min, t.Max)
	}
	return l, nil
}

func parseLimit(text string, p comparison.Property) (quantity.Value, error) {
	if p.Decibel {
		x, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(text), "dB")), 64)
		if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
			return quantity.Value{}, fmt.Errorf("%q is not a level in dB", text)
		}
		return quantity.Value{SI: x, Text: text}, nil
	}
	return quantity.Parse(text, p.Unit)
}

// LimitsAround are limits at a distance of percent about the values of a
// reference coil, with its uncertainty. percent holds a tolerance for a quantity, or
// under "" for all that are not named, but for levels in dB and for those that the coil
// does not have.
func LimitsAround(reference *fit.Result, properties []comparison.Property,
	percent map[string]float64) (map[string]Limits, error) {
	for key := range percent {
		if key != "" && !slices.Contains(comparison.PropertyKeys(), key) {
			return nil, fmt.Errorf("there is no quantity %q: want one of %s", key,
				strings.Join(comparison.PropertyKeys(), ", "))
		}
	}
	limits := map[string]Limits{}
	for _, p := range properties {
		of, named := percent[p.Key]
		all := named
		if !named {
			of, all = percent[""]
		}
		q := p.Of(reference)
		switch {
		case named && p.Decibel:
			return nil, fmt.Errorf("%s is a level: percent mean nothing of it", p.Name)
		case !all || p.Decibel || !q.Known():
			continue
		}
		half := math.Abs(q.Value) * of / 100
		limits[p.Key] = Limits{Lower: q.Value - half, Upper: q.Value + half, U: q.U, Named: named}
	}
	for key := range percent {
		if _, ok := limits[key]; key != "" && !ok {
			p, _ := comparison.PropertyNamed(key)
			return nil, fmt.Errorf("%s of the reference coil is not known", p.Name)
		}
	}
	if len(limits) == 0 {
		return nil, errors.New("the reference coil has none of the quantities that the tolerances are for")
	}
	return limits, nil
}
