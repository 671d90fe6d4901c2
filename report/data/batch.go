package data

import (
	"encoding/json"
	"io"
	"slices"
	"strings"
	"time"

	"coilsweep/fit"
	"coilsweep/fit/batch"
	"coilsweep/report/words"
)

const batchSchema = "coilsweep.batch/1"

type (
	batchJSON struct {
		Schema     string              `json:"schema"`
		Guard      float64             `json:"guard"`
		Coils      []batchCoilJSON     `json:"coils"`
		Properties []batchPropertyJSON `json:"properties"`
	}
	batchCoilJSON struct {
		Coil     string                  `json:"coil"`
		Folders  []string                `json:"folders"`
		Measured *time.Time              `json:"measured"`
		Verdict  string                  `json:"verdict"`
		Findings []string                `json:"findings"`
		Cause    string                  `json:"suspected,omitempty"`
		Values   map[string]batchValJSON `json:"values"`
	}
	batchValJSON struct {
		fit.Quantity
		Verdict     string
		Probability *float64
		Score       *float64
	}
	batchPropertyJSON struct {
		propertyRecord
		N            int        `json:"n"`
		Mean         *float64   `json:"mean"`
		SD           *float64   `json:"sd"`
		Median       *float64   `json:"median"`
		RobustSD     *float64   `json:"robust_sd"`
		MeasurementU *float64   `json:"measurement_u"`
		Anova        *anovaJSON `json:"anova"`
		Limits       *limitJSON `json:"limits"`
		Chart        *chartJSON `json:"chart"`
	}
	anovaJSON struct {
		BetweenDF     int      `json:"between_df"`
		BetweenSS     float64  `json:"between_ss"`
		WithinDF      int      `json:"within_df"`
		WithinSS      float64  `json:"within_ss"`
		F             *float64 `json:"f"`
		P             *float64 `json:"p"`
		Repeatability float64  `json:"repeatability_sd"`
		Between       float64  `json:"between_sd"`
	}
	limitJSON struct {
		Lower *float64 `json:"lower"`
		Upper *float64 `json:"upper"`
		U     float64  `json:"u"`
	}
	chartJSON struct {
		Centre  float64      `json:"centre"`
		Lower   float64      `json:"lower"`
		Upper   float64      `json:"upper"`
		Signals []signalJSON `json:"signals"`
	}
	signalJSON struct {
		Coil string `json:"coil"`
		What string `json:"what"`
	}
)

// MarshalJSON adds the judgement to the quantity's own form.
func (v batchValJSON) MarshalJSON() ([]byte, error) {
	q, err := v.Quantity.MarshalJSON()
	if err != nil {
		return nil, err
	}
	more, err := json.Marshal(struct {
		Verdict     string   `json:"verdict,omitempty"`
		Probability *float64 `json:"probability_within,omitempty"`
		Score       *float64 `json:"score"`
	}{v.Verdict, v.Probability, v.Score})
	if err != nil {
		return nil, err
	}
	return slices.Concat(q[:len(q)-1], []byte{','}, more[1:]), nil
}

// BatchJSON writes the batch for programs.
func BatchJSON(w io.Writer, b *batch.Batch) error {
	out := batchJSON{Schema: batchSchema, Guard: b.Guard, Coils: []batchCoilJSON{}, Properties: []batchPropertyJSON{}}
	for i, coil := range b.Coils {
		c := batchCoilJSON{Coil: coil.Name, Verdict: "", Findings: orEmpty(coil.Suspicion.Findings),
			Cause: coil.Suspicion.Cause, Values: map[string]batchValJSON{}}
		if b.Judged {
			c.Verdict = string(coil.Verdict)
		}
		for _, s := range coil.Specimens {
			c.Folders = append(c.Folders, b.Specimens[s].Folder)
		}
		if at := b.Specimens[coil.Specimens[0]].Measured; !at.IsZero() {
			c.Measured = &at
		}
		for _, p := range b.Properties {
			v := batchValJSON{Quantity: p.Values[i]}
			if p.Judgements != nil {
				v.Verdict, v.Probability = string(p.Judgements[i].Verdict), finiteOrNil(p.Judgements[i].Probability)
			}
			if p.Scores != nil {
				v.Score = finiteOrNil(p.Scores[i])
			}
			c.Values[p.Key] = v
		}
		out.Coils = append(out.Coils, c)
	}
	for _, p := range b.Properties {
		one := batchPropertyJSON{propertyRecord: propertyRecord{p.Key, p.Name, string(words.UnitOf(p.Property))},
			N:    p.Known,
			Mean: finiteOrNil(p.Mean), SD: finiteOrNil(p.SD), Median: finiteOrNil(p.Median),
			RobustSD: finiteOrNil(p.RobustSD), MeasurementU: finiteOrNil(p.MeasurementU)}
		if a := p.Anova; a != nil {
			one.Anova = &anovaJSON{a.BetweenDF, a.BetweenSS, a.WithinDF, a.WithinSS, finiteOrNil(a.F),
				finiteOrNil(a.P), a.RepeatabilitySD, a.BetweenSD}
		}
		if l := p.Limits; l != nil {
			one.Limits = &limitJSON{finiteOrNil(l.Lower), finiteOrNil(l.Upper), l.U}
		}
		if c := p.Chart; c != nil {
			one.Chart = &chartJSON{c.Centre, c.Lower, c.Upper, []signalJSON{}}
			for _, s := range c.Signals {
				one.Chart.Signals = append(one.Chart.Signals, signalJSON{b.Coils[p.Charted[s.At]].Name, string(s.What)})
			}
		}
		out.Properties = append(out.Properties, one)
	}
	return writeJSON(w, out)
}

// BatchCSV writes one row a coil for a spreadsheet: its values with U95,
// verdicts and scores.
func BatchCSV(w io.Writer, b *batch.Batch, o CSVOptions) error {
	sheet := newSpreadsheet(w, o)
	header := []string{"coil", "folders", "measured", "verdict", "suspicion"}
	for _, p := range b.Properties {
		header = append(header, p.Key, p.Key+"_U95", p.Key+"_verdict", p.Key+"_probability_within", p.Key+"_score")
	}
	sheet.row(header...)
	for i, coil := range b.Coils {
		var folders []string
		for _, s := range coil.Specimens {
			folders = append(folders, b.Specimens[s].Folder)
		}
		date := ""
		if at := b.Specimens[coil.Specimens[0]].Measured; !at.IsZero() {
			date = at.Format("2006-01-02 15:04:05")
		}
		verdict := ""
		if b.Judged {
			verdict = string(coil.Verdict)
		}
		row := []string{cellText(coil.Name), cellText(strings.Join(folders, " ")), date, verdict,
			cellText(coil.Suspicion.String())}
		for _, p := range b.Properties {
			row = append(row, sheet.quantity(p.Values[i])...)
			judged, probability, score := "", "", ""
			if p.Judgements != nil {
				judged, probability = string(p.Judgements[i].Verdict), sheet.number(p.Judgements[i].Probability)
			}
			if p.Scores != nil {
				score = sheet.number(p.Scores[i])
			}
			row = append(row, judged, probability, score)
		}
		sheet.row(row...)
	}
	return sheet.end()
}
