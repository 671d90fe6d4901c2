// Package schema describes JSON that the program writes by JSON Schemas (draft 2020-12). What
// has a type is described from that type, so that the two cannot part.
package schema

import (
	"encoding/json"
	"io"
	"maps"
	"reflect"
	"slices"
	"strings"
	"time"

	"coilsweep/fit"
)

// Schema is a JSON Schema.
type Schema = map[string]any

// Format is a JSON format that programs may rely on. Objects carry its ID as "schema"; lists
// cannot, and 'coilsweep version --json' names the IDs of all formats.
type Format struct {
	Name  string // "result"; the command that prints it, as a rule
	About string
	Shape Schema
}

// ID is the format with the number of its version, which is raised when a reader of the one
// before would go wrong. Keys may be added under the same number.
func (f Format) ID() string { return "coilsweep." + f.Name + "/1" }

// Write writes the format's schema. Its $id is a relative one: a name, not an address.
func (f Format) Write(w io.Writer) error {
	s := maps.Clone(f.Shape)
	if properties, ok := s["properties"].(Schema); ok {
		properties = maps.Clone(properties)
		properties["schema"] = Schema{"const": f.ID()}
		required, _ := s["required"].([]string)
		if !slices.Contains(required, "schema") {
			required = append([]string{"schema"}, required...)
		}
		s["properties"], s["required"] = properties, required
	}
	s["$schema"] = "https://json-schema.org/draft/2020-12/schema"
	s["$id"] = strings.ReplaceAll(f.ID(), "/", "-") + ".schema.json"
	s["title"] = f.ID() + ": " + f.About
	s["description"] = "Quantities are in SI units, named in the key: _h henry, _f farad, _ohm ohm, _hz hertz, _db " +
		"decibel, _s2 second squared, _m metre. u is the standard uncertainty, U95 the expanded one (JCGM 100)."
	s["$defs"] = Schema{"quantity": QuantityWith(nil, nil)}
	encoder := json.NewEncoder(w)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	return encoder.Encode(s)
}

// Plain values, and a fit.Quantity.
var (
	Text     = Schema{"type": "string"}
	Number   = Schema{"type": "number"}
	Whole    = Schema{"type": "integer"}
	Truth    = Schema{"type": "boolean"}
	Moment   = Schema{"type": "string", "format": "date-time"}
	Quantity = Schema{"$ref": "#/$defs/quantity"}
)

// OrNull is s or null.
func OrNull(s Schema) Schema { return Schema{"oneOf": []any{s, Schema{"type": "null"}}} }

// List is an array of s; Map an object with any keys.
func List(s Schema) Schema { return Schema{"type": "array", "items": s} }
func Map(s Schema) Schema  { return Schema{"type": "object", "additionalProperties": s} }

// Object is an object with these keys and no others; optional ones may be left out.
func Object(required, optional Schema) Schema {
	all := maps.Clone(required)
	maps.Copy(all, optional)
	return Schema{"type": "object", "properties": all, "required": slices.Sorted(maps.Keys(required)),
		"additionalProperties": false}
}

// With is a copy of an object's schema with more keys that must be there.
func With(object, required Schema) Schema {
	properties := maps.Clone(object["properties"].(Schema))
	maps.Copy(properties, required)
	had, _ := object["required"].([]string)
	more := maps.Clone(object)
	more["properties"], more["required"] = properties, slices.Concat(had, slices.Sorted(maps.Keys(required)))
	return more
}

// QuantityWith is what a fit.Quantity writes, an estimate, or null and why, with more keys.
func QuantityWith(required, optional Schema) Schema {
	known := Schema{
		"value": Number, "u": Schema{"type": "number", "minimum": 0}, "U95": Schema{"type": "number", "minimum": 0},
	}
	ends := Schema{"low": Schema{"type": "number", "description": "end of a 95 % interval that is not symmetric"},
		"high": Number}
	given := Object(known, ends)
	given["description"] = "the quantity if something holds that the takes do not show"
	given = With(given, Schema{"if": Schema{"type": "string", "minLength": 1}})
	unknown := Schema{"value": Schema{"type": "null"}, "why": Schema{"type": "string", "minLength": 1}}
	but := Schema{"given_form": given}
	for _, s := range []Schema{known, unknown} {
		maps.Copy(s, required)
	}
	for _, s := range []Schema{ends, but} {
		maps.Copy(s, optional)
	}
	return Schema{"oneOf": []any{Object(known, ends), Object(unknown, but)}}
}

// Of is the schema of a type as encoding/json writes it.
func Of[T any]() Schema { return of(reflect.TypeFor[T]()) }

func of(t reflect.Type) Schema {
	switch t {
	case reflect.TypeFor[fit.Quantity]():
		return Quantity
	case reflect.TypeFor[time.Time]():
		return Moment
	}
	switch t.Kind() {
	case reflect.Pointer:
		return OrNull(of(t.Elem()))
	case reflect.Struct:
		properties, required := Schema{}, []string{}
		fieldsOf(t, properties, &required)
		return Schema{"type": "object", "properties": properties, "required": required, "additionalProperties": false}
	case reflect.Slice:
		return OrNull(List(of(t.Elem())))
	case reflect.Array:
		return Schema{"type": "array", "items": of(t.Elem()), "minItems": t.Len(), "maxItems": t.Len()}
	case reflect.Map:
		return Map(of(t.Elem()))
	case reflect.String:
		return Text
	case reflect.Bool:
		return Truth
	case reflect.Float32, reflect.Float64:
		return Number
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64, reflect.Uint, reflect.Uint8,
		reflect.Uint16, reflect.Uint32, reflect.Uint64:
		return Whole
	}
	return Schema{} // anything
}

// fieldsOf adds a struct's fields, those of embedded ones among them.
func fieldsOf(t reflect.Type, properties Schema, required *[]string) {
	for i := range t.NumField() {
		f := t.Field(i)
		name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		embedded := f.Type
		if f.Anonymous && embedded.Kind() == reflect.Pointer {
			embedded = embedded.Elem()
		}
		switch {
		case name == "-" || !f.IsExported():
			continue
		case f.Anonymous && name == "" && embedded.Kind() == reflect.Struct:
			fieldsOf(embedded, properties, required)
			continue
		case name == "":
			name = f.Name
		}
		s := of(f.Type)
		if strings.Contains(options, "omitempty") {
			// Left out rather than null.
			if any, ok := s["oneOf"].([]any); ok {
				s = any[0].(Schema)
			}
		} else {
			*required = append(*required, name)
		}
		properties[name] = s
	}
}
