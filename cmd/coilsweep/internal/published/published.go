// Package published lists the JSON formats that the program's commands print, each with its
// schema.
package published

import (
	"coilsweep/capture/tryout"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/fit"
	"coilsweep/fit/check"
	"coilsweep/fit/evaluation"
	"coilsweep/fit/harness"
	"coilsweep/report/data"
	"coilsweep/report/schema"
)

type keys = schema.Schema

// Prediction is what 'predict' prints.
type Prediction struct {
	*harness.Prediction
	Target *harness.Solution `json:"target,omitempty"`
}

// Formats are all of them.
func Formats() []schema.Format {
	text := schema.Text
	return append(data.Formats(), []schema.Format{
		recorded(),
		{Name: "check", About: "a bench judged by a trial sweep", Shape: schema.Of[check.Report]()},
		{Name: "calibrate", About: "the response of a sound card", Shape: schema.Of[workbench.CalibrationResult]()},
		{Name: "fixture", About: "cable, clips and input", Shape: schema.Of[workbench.FixtureResult]()},
		{Name: "fit-all", About: "how each coil of 'fit --all' came out",
			Shape: schema.List(schema.Of[evaluation.Refreshed]())},
		{Name: "devices", About: "sound devices", Shape: schema.List(schema.Of[workbench.DeviceRecord]())},
		{Name: "devices-try", About: "what came of a trial of two devices", Shape: schema.Of[tryout.Outcome]()},
		{Name: "capacitance", About: "an account of all capacitance", Shape: schema.Of[fit.Account]()},
		{Name: "crosscheck", About: "readings of a meter against the fit",
			Shape: schema.Object(keys{"coil": text, "meter": schema.Of[[]fit.MeterResult]()}, nil)},
		{Name: "predict", About: "a coil in a guitar", Shape: schema.Of[Prediction]()},
		{Name: "stimulus", About: "a stimulus that was written", Shape: schema.Object(keys{"file": text,
			"description": text, "rate_hz": schema.Whole, "duration_s": schema.Number, "repeats": schema.Whole,
			"level_dbfs": schema.Number, "sha256": text}, nil)},
		{Name: "bench", About: "what a bench.toml states, table by table", Shape: keys{"type": "object",
			"properties": keys{"path": text, "sha256": text}, "required": []string{"path", "sha256"},
			"additionalProperties": keys{"type": []string{"string", "number", "object"}}}},
		{Name: "exciter", About: "exciter coils", Shape: schema.Object(keys{
			"exciters": schema.List(exciter()), "cautions": schema.List(text)}, nil)},
		{Name: "version", About: "the program and its formats", Shape: schema.Object(keys{"program": text,
			"version": text, "go": text, "system": text, "processor": text,
			"formats": schema.List(keys{"type": "string", "pattern": "^coilsweep\\.[a-z-]+/[0-9]+$"})}, nil)},
	}...)
}

// recorded is a take as 'measure' and 'import' print it.
func recorded() schema.Format {
	number, text, whole := schema.OrNull(schema.Number), schema.Text, schema.List(schema.Whole)
	fall := schema.Object(keys{"db": schema.Number, "at_hz": schema.Number, "corrected": schema.Truth}, nil)
	return schema.Format{Name: "measure", About: "a take that was recorded or imported", Shape: schema.Object(
		keys{"take": text, "folder": text, "fit_for_use": schema.Truth, "bench_file": schema.OrNull(text),
			"flags": schema.List(text), "peak_dbfs": number, "rms_dbfs": number, "noise_dbfs": number, "hum_dbfs": number,
			"mains_hz": number, "snr_db": number, "clipped_samples": schema.Whole, "drift_ppm": number,
			"polarity": schema.Whole, "alignment_quality": number, "damaged_repeats": whole, "clipped_repeats": whole,
			"changed_repeats": whole, "drive_fall": schema.OrNull(fall), "contradictions": schema.List(text)},
		keys{"until": schema.Of[workbench.Precision](), "linearity": schema.Of[workbench.Linearity]()})}
}

// exciter is one coil of the sheet.
func exciter() schema.Schema {
	one := keys{"wire": schema.Text, "turns": schema.Whole, "turns_that_fit": schema.Whole,
		"warnings": schema.List(schema.Text)}
	for _, key := range []string{"core_m", "flange_m", "length_m", "distance_m", "wire_bare_m", "wire_outer_m",
		"wire_length_m", "winding_depth_m", "winding_celsius", "resistance_ohm", "inductance_h", "inductance_U95_h",
		"inductance_wheeler_h", "self_capacitance_f", "self_resonance_hz", "series_needed_ohm", "series_ohm",
		"current_drop_db", "current_a_rms", "coil_w", "series_w", "temperature_rise_k", "axis_field_t_rms", "mutual_h",
		"emf_1khz_v_rms"} {
		one[key] = schema.Number
	}
	return schema.Object(one, nil)
}
