package data

import (
	"coilsweep/fit"
	"coilsweep/fit/harness"
	"coilsweep/fit/pair"
	"coilsweep/fit/turns"
	"coilsweep/report/schema"
	"coilsweep/report/words"
)

// keys are those of a JSON object, with what stands there.
type keys = schema.Schema

// Result is the format of result.json.
func Result() schema.Format {
	return schema.Format{Name: "result", About: "the result of the takes of one coil, result.json",
		Shape: schema.Of[fit.Result]()}
}

// propertyShape is a quantity that coils are compared by.
var propertyShape = keys{"key": schema.Text, "name": schema.Text, "unit": schema.Text}

// Formats are those of this package's JSON.
func Formats() []schema.Format {
	number, text, texts := schema.OrNull(schema.Number), schema.Text, schema.List(schema.Text)
	list := keys{"folder": text, "coil": text, "coil_state": text, "serial": text, "lot": text, "customer": text,
		"measured": schema.OrNull(schema.Moment), "takes": schema.Whole,
		"state": keys{"enum": []string{"no take", "not fitted", "stale", "fresh"}}, "stale": texts, "flags": texts,
		"resonance_of": text,
		"pair": schema.OrNull(schema.Object(keys{"folder": text, "name": text,
			"role": keys{"enum": []string{pair.First, pair.Second, pair.Both}}}, nil))}
	for _, c := range words.ListColumns {
		list[c.CSV] = schema.Quantity
	}
	difference := schema.Object(keys{"delta": schema.Quantity, "percent": number, "en": number, "verdict": text}, nil)
	return []schema.Format{
		Result(),
		{Name: "list", About: "the coils below a folder", Shape: schema.List(schema.Object(list, nil))},
		{Name: "comparison", About: "differences between coils", Shape: schema.Object(keys{"reference": text,
			"properties": schema.List(schema.Object(propertyShape, nil)), "remarks": texts,
			"coils": schema.List(schema.Object(keys{"folder": text, "coil": text, "serial": text,
				"values": schema.Map(schema.Quantity), "differences": schema.Map(difference)}, nil)),
			"changes": schema.List(schema.Object(keys{"folder": text, "coil": text, "state": text, "before": text,
				"findings": schema.Map(schema.Object(keys{"delta": schema.Quantity, "verdict": text}, nil)),
				"as":       texts, "sentence": text}, nil))}, nil)},
		batchFormat(),
		{Name: "judged", About: "a coil of a lot, judged: a line each", Shape: schema.Object(keys{"serial": text,
			"folder": text, "verdict": text, "line": text, "quantities": schema.List(schema.Object(keys{"key": text,
				"value": schema.Quantity, "verdict": text, "lower": number, "upper": number, "limit": number,
				"beyond": number, "beyond_U95": number, "probability_within": number}, nil))}, nil)},
		{Name: "hearing", About: "by how much two sounds differ", Shape: schema.Object(keys{"recording": text,
			"sounds": texts, "recorded_with": schema.OrNull(text), "rate_hz": schema.Whole, "loudness_method": text,
			"loudness_lufs": schema.List(number), "difference_loudness_lufs": number,
			"octaves": schema.Of[[]harness.Octave](), "assumptions": texts, "warnings": texts, "files": texts}, nil)},
		turnsFormat(),
		{Name: "pair-result", About: "the two coils of a hum-cancelling pickup", Shape: schema.Of[pair.Result]()},
		{Name: "winding", About: "a coil checked against its wire and turns", Shape: schema.Object(keys{"coil": text,
			"turns_stated": schema.Whole, "celsius": schema.Number, "resistance_ohm": schema.Quantity,
			"resistance_expected_ohm": schema.Quantity, "en": number, "turns": schema.Quantity, "bare_winding_h": number,
			"inductance_factor": number, "suspicions": texts, "remarks": texts,
			"shorted_turns": schema.List(schema.Object(keys{"part": schema.Number, "resonance_hz": number, "q": number},
				nil))}, nil)},
	}
}

func batchFormat() schema.Format {
	number, text, texts := schema.OrNull(schema.Number), schema.Text, schema.List(schema.Text)
	value := schema.QuantityWith(keys{"score": number}, keys{"verdict": text, "probability_within": schema.Number,
		"limit": schema.Number, "beyond": schema.Number})
	coil := schema.Object(keys{"coil": text, "serial": text, "lot": text, "folders": texts,
		"measured": schema.OrNull(schema.Moment), "verdict": text, "findings": texts, "values": schema.Map(value)},
		keys{"suspected": text})
	anova := schema.Object(keys{"between_df": schema.Whole, "between_ss": schema.Number, "within_df": schema.Whole,
		"within_ss": schema.Number, "f": number, "p": number, "repeatability_sd": schema.Number,
		"between_sd": schema.Number}, nil)
	limits := schema.Object(keys{"lower": number, "upper": number, "u": schema.Number}, nil)
	chart := schema.Object(keys{"centre": schema.Number, "lower": schema.Number, "upper": schema.Number,
		"signals": schema.List(schema.Object(keys{"coil": text, "what": text}, nil))}, nil)
	property := schema.With(schema.Object(propertyShape, nil), keys{"n": schema.Whole, "mean": number, "sd": number,
		"median": number, "robust_sd": number, "measurement_u": number, "anova": schema.OrNull(anova),
		"limits": schema.OrNull(limits), "chart": schema.OrNull(chart)})
	return schema.Format{Name: "batch", About: "the statistics of a production run",
		Shape: schema.Object(keys{"guard": schema.Number, "state": text, "other_states": texts, "coils": schema.List(coil),
			"properties": schema.List(property)}, nil)}
}

func turnsFormat() schema.Format {
	number, text, texts := schema.OrNull(schema.Number), schema.Text, schema.List(schema.Text)
	option := schema.Object(keys{"wire": text, "grade": schema.Whole, "bare_m": schema.Number, "outer_m": schema.Number,
		"turns": schema.Whole, "wire_m": schema.Number, "depth_m": schema.Number, "filled": schema.Number,
		"tight": schema.Truth, "inductance_h": schema.Quantity, "resistance_ohm": schema.Quantity,
		"capacitance_coil_f": schema.Quantity, "resonance_hz": schema.Quantity, "q_alone": schema.Quantity,
		"peak_hz": schema.Quantity, "peak_db": schema.Quantity, "q": schema.Quantity, "level_db": schema.Quantity,
		"peak_U95_from_hz": schema.OrNull(schema.Of[turns.Shares]()), "from_wanted_db": number,
		"response": schema.Object(keys{"frequency_hz": schema.List(schema.Number),
			"level_db": schema.List(schema.Quantity)}, nil)}, keys{"turns_needed": schema.Quantity})
	refused := schema.Object(keys{"wire": text, "grade": schema.Whole, "why": text}, nil)
	return schema.Format{Name: "turns", About: "what to wind", Shape: schema.Object(keys{"coils": texts,
		"harness": text, "wanted": text, "celsius": schema.Number, "room_m": schema.Number, "room_from": text,
		"laws": schema.Of[[]turns.Law](), "assumed": texts, "options": schema.List(option), "refused": schema.List(refused),
		"warnings": texts}, nil)}
}
