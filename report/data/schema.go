package data

import (
	"io"
	"maps"
	"reflect"
	"strings"
	"time"

	"coilsweep/fit"
)

// WriteSchema writes the JSON Schema (draft 2020-12) of result.json. It is made
// from the type that is written, so that the two cannot part.
func WriteSchema(w io.Writer) error {
	return writeSchema(w, reflect.TypeFor[fit.Result](), "Result of coilsweep, "+fit.ResultSchema)
}

func writeSchema(w io.Writer, of reflect.Type, title string) error {
	s := schemaOf(of)
	s["$schema"] = "https://json-schema.org/draft/2020-12/schema"
	s["title"] = title
	s["description"] = "Quantities are in SI units, named in the key: _h henry, _f farad, _ohm ohm, _hz hertz, _db " +
		"decibel, _s2 second squared. u is the standard uncertainty, U95 the expanded one (JCGM 100)."
	s["$defs"] = map[string]any{"quantity": quantitySchema}
	return writeJSON(w, s)
}

type schema = map[string]any

// knownProperties are those of an estimate.
var knownProperties = schema{
	"value": schema{"type": "number"}, "u": schema{"type": "number", "minimum": 0},
	"U95":  schema{"type": "number", "minimum": 0},
	"low":  schema{"type": "number", "description": "end of a 95 % interval that is not symmetric"},
	"high": schema{"type": "number"},
}

// givenProperties are those of an estimate under a supposition.
func givenProperties() schema {
	p := maps.Clone(knownProperties)
	p["if"] = schema{"type": "string", "minLength": 1}
	return p
}

// quantitySchema is what fit.Quantity writes: an estimate, or null and why.
var quantitySchema = schema{
	"oneOf": []any{
		schema{
			"type": "object", "required": []string{"value", "u", "U95"}, "additionalProperties": false,
			"properties": knownProperties,
		},
		schema{
			"type": "object", "required": []string{"value", "why"}, "additionalProperties": false,
			"properties": schema{
				"value": schema{"type": "null"}, "why": schema{"type": "string", "minLength": 1},
				"given_form": schema{
					"description": "the quantity if something holds that the takes do not show",
					"type":        "object", "required": []string{"if", "value", "u", "U95"},
					"additionalProperties": false,
					"properties":           givenProperties(),
				},
			},
		},
	},
}

// schemaOf is the schema of a type as encoding/json writes it.
func schemaOf(t reflect.Type) schema {
	switch t {
	case reflect.TypeFor[fit.Quantity]():
		return schema{"$ref": "#/$defs/quantity"}
	case reflect.TypeFor[time.Time]():
		return schema{"type": "string", "format": "date-time"}
	}
	switch t.Kind() {
	case reflect.Pointer:
		return schema{"oneOf": []any{schemaOf(t.Elem()), schema{"type": "null"}}}
	case reflect.Struct:
		properties, required := schema{}, []string{}
		fieldsOf(t, properties, &required)
		return schema{"type": "object", "properties": properties, "required": required, "additionalProperties": false}
	case reflect.Slice:
		return schema{"oneOf": []any{schema{"type": "array", "items": schemaOf(t.Elem())}, schema{"type": "null"}}}
	case reflect.Array:
		return schema{"type": "array", "items": schemaOf(t.Elem()), "minItems": t.Len(), "maxItems": t.Len()}
	case reflect.Map:
		return schema{"type": "object", "additionalProperties": schemaOf(t.Elem())}
	case reflect.String:
		return schema{"type": "string"}
	case reflect.Bool:
		return schema{"type": "boolean"}
	case reflect.Float32, reflect.Float64:
		return schema{"type": "number"}
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64, reflect.Uint, reflect.Uint8,
		reflect.Uint16, reflect.Uint32, reflect.Uint64:
		return schema{"type": "integer"}
	}
	return schema{} // anything
}

// fieldsOf adds a struct's fields, those of embedded ones among them.
func fieldsOf(t reflect.Type, properties schema, required *[]string) {
	for i := range t.NumField() {
		f := t.Field(i)
		name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		switch {
		case name == "-" || !f.IsExported():
			continue
		case f.Anonymous && name == "" && f.Type.Kind() == reflect.Struct:
			fieldsOf(f.Type, properties, required)
			continue
		case name == "":
			name = f.Name
		}
		s := schemaOf(f.Type)
		if strings.Contains(options, "omitempty") {
			// Left out rather than null.
			if any, ok := s["oneOf"].([]any); ok {
				s = any[0].(schema)
			}
		} else {
			*required = append(*required, name)
		}
		properties[name] = s
	}
}
