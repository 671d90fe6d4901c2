package data

import (
	"encoding/json"
	"io"
	"slices"
	"strings"
	"time"

	"coilsweep/fit"
	"coilsweep/fit/batch"
	"coilsweep/report/notation"
)

const batchSchema = "coilsweep.batch/1"

// batchVal is a property of a coil, judged.
type batchVal struct {
	fit.Quantity
	Verdict     string
	Probability *float64
	Score       *float64
	// Limit is the nearest, Beyond by how much the value lies outside it.
	Limit, Beyond *float64
}

// MarshalJSON adds the judgement to the quantity's own form.
func (v batchVal) MarshalJSON() ([]byte, error) {
	q, err := v.Quantity.MarshalJSON()
	if err != nil {
		return nil, err
	}
	more, err := json.Marshal(struct {
		Verdict     string   `json:"verdict,omitempty"`
		Probability *float64 `json:"probability_within,omitempty"`
		Score       *float64 `json:"score"`
		Limit       *float64 `json:"limit,omitempty"`
		Beyond      *float64 `json:"beyond,omitempty"`
	}{v.Verdict, v.Probability, v.Score, v.Limit, v.Beyond})
	if err != nil {
		return nil, err
	}
	return slices.Concat(q[:len(q)-1], []byte{','}, more[1:]), nil
}

func foldersOf(b *batch.Batch, coil batch.Coil) []string {
	return notation.Each(coil.Specimens, func(s int) string { return b.Specimens[s].Folder })
}

// verdictOf is empty where there are no limits.
func verdictOf(b *batch.Batch, coil batch.Coil) string {
	if !b.Judged {
		return ""
	}
	return string(coil.Verdict)
}

// batchValue is a property of the coil with index i.
func batchValue(p batch.Property, i int) batchVal {
	v := batchVal{Quantity: p.Values[i]}
	if p.Judgements != nil {
		v.Verdict, v.Probability = string(p.Judgements[i].Verdict), finiteOrNil(p.Judgements[i].Probability)
		v.Limit, v.Beyond = finiteOrNil(p.Judgements[i].Limit), finiteOrNil(p.Judgements[i].Beyond)
	}
	if p.Scores != nil {
		v.Score = finiteOrNil(p.Scores[i])
	}
	return v
}

// BatchJSON writes the batch for programs.
func BatchJSON(w io.Writer, b *batch.Batch) error {
	coils := []Object{}
	for i, coil := range b.Coils {
		var measured *time.Time
		if at := b.Specimens[coil.Specimens[0]].Measured; !at.IsZero() {
			measured = &at
		}
		values := map[string]batchVal{}
		for _, p := range b.Properties {
			values[p.Key] = batchValue(p, i)
		}
		about := b.Specimens[coil.Specimens[0]].Result.About
		one := Object{{"coil", coil.Name}, {"serial", about.Serial}, {"lot", about.Lot},
			{"folders", foldersOf(b, coil)}, {"measured", measured},
			{"verdict", verdictOf(b, coil)}, {"findings", orEmpty(coil.Suspicion.Findings)}}
		if coil.Suspicion.Cause != "" {
			one = append(one, Object{{"suspected", coil.Suspicion.Cause}}...)
		}
		coils = append(coils, append(one, Object{{"values", values}}...))
	}
	properties := notation.Each(b.Properties, func(p batch.Property) Object { return batchProperty(b, p) })
	return writeJSON(w, Object{{"schema", batchSchema}, {"guard", b.Guard}, {"state", b.State},
		{"other_states", orEmpty(b.Others)}, {"coils", coils},
		{"properties", properties}})
}

func batchProperty(b *batch.Batch, p batch.Property) Object {
	var anova, limits, chart Object
	if a := p.Anova; a != nil {
		anova = Object{{"between_df", a.BetweenDF}, {"between_ss", a.BetweenSS}, {"within_df", a.WithinDF},
			{"within_ss", a.WithinSS}, {"f", finiteOrNil(a.F)}, {"p", finiteOrNil(a.P)},
			{"repeatability_sd", a.RepeatabilitySD}, {"between_sd", a.BetweenSD}}
	}
	if l := p.Limits; l != nil {
		limits = Object{{"lower", finiteOrNil(l.Lower)}, {"upper", finiteOrNil(l.Upper)}, {"u", l.U}}
	}
	if c := p.Chart; c != nil {
		signals := notation.Each(c.Signals, func(s batch.Signal) Object {
			return Object{{"coil", b.Coils[p.Charted[s.At]].Name}, {"what", s.What}}
		})
		chart = Object{{"centre", c.Centre}, {"lower", c.Lower}, {"upper", c.Upper}, {"signals", signals}}
	}
	return slices.Concat(property(p.Property), Object{{"n", p.Known}, {"mean", finiteOrNil(p.Mean)},
		{"sd", finiteOrNil(p.SD)}, {"median", finiteOrNil(p.Median)}, {"robust_sd", finiteOrNil(p.RobustSD)},
		{"measurement_u", finiteOrNil(p.MeasurementU)}, {"anova", anova}, {"limits", limits}, {"chart", chart}})
}

// BatchCSV writes one row a coil for a spreadsheet: its values with U95,
// verdicts and scores.
func BatchCSV(w io.Writer, b *batch.Batch, o CSVOptions) error {
	sheet := newSpreadsheet(w, o)
	header := []string{"coil", "folders", "measured", "verdict", "suspicion"}
	for _, p := range b.Properties {
		header = append(header, p.Key, column(p.Key, "U95", true), column(p.Key, "verdict", false),
			column(p.Key, "probability_within", false), column(p.Key, "score", false))
	}
	sheet.row(append(header, "serial", "lot")...)
	for i, coil := range b.Coils {
		row := []string{cellText(coil.Name), cellText(strings.Join(foldersOf(b, coil), " ")),
			moment(b.Specimens[coil.Specimens[0]].Measured), verdictOf(b, coil), cellText(coil.Suspicion.String())}
		for _, p := range b.Properties {
			v := batchValue(p, i)
			row = append(row, sheet.quantity(v.Quantity)...)
			row = append(row, v.Verdict, sheet.optional(v.Probability), sheet.optional(v.Score))
		}
		about := b.Specimens[coil.Specimens[0]].Result.About
		sheet.row(append(row, cellText(about.Serial), cellText(about.Lot))...)
	}
	return sheet.end()
}
