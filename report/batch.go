package report

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/fit/batch"
)

const batchSchema = "coilsweep.batch/1"

// BatchTable writes the batch as text for a terminal: what it means first, the
// statistics below. chart is the key of the property whose control chart is
// drawn; empty for none.
func BatchTable(w io.Writer, b *batch.Batch, chart string, o TableOptions) error {
	if o.Width <= 0 {
		o.Width = 80
	}
	t := &table{out: bufio.NewWriter(w), o: o}
	for i, s := range batchWords(b) {
		sgr := ""
		if i == 0 {
			sgr = sgrBold
		}
		for _, line := range wrap(s, o.Width) {
			t.line(t.paint(sgr, line))
		}
	}
	for _, c := range b.Coils {
		if c.Suspicion.Findings != nil {
			t.marked("!", sgrYellow, visible(c.Name)+" stands out: "+c.Suspicion.String()+".")
		}
	}
	for _, s := range signalWords(b) {
		t.marked("!", sgrYellow, s)
	}
	t.line("")
	t.spreads(b)
	t.line("")
	t.coils(b)
	t.reasons()
	for _, p := range b.Properties {
		if p.Key == chart && p.Chart != nil {
			t.line("")
			t.chart(b, p)
		}
	}
	t.line("")
	t.statistics(b)
	for _, s := range batchRemarks(b) {
		t.hanging("·", sgrFaint, s)
	}
	return t.out.Flush()
}

// batchWords is the batch in plain sentences.
func batchWords(b *batch.Batch) []string {
	first := countOf(len(b.Coils), "coil")
	switch n := b.Repeats(); {
	case n == 1:
		first += ", 1 of them measured more than once"
	case n > 1:
		first += fmt.Sprintf(", %d of them measured more than once", n)
	}
	words := []string{first + "."}
	if b.Judged {
		var parts []string
		for _, v := range []struct {
			verdict   batch.Verdict
			one, many string
		}{
			{batch.Pass, "passes", "pass"}, {batch.Fail, "fails", "fail"},
			{batch.Undecided, "is too near to a limit to be decided", "are too near to a limit to be decided"},
			{batch.Unknown, "cannot be judged, since something was not measured", "cannot be judged, since something was not measured"},
		} {
			switch n := b.Count(v.verdict); {
			case n == 1:
				parts = append(parts, "1 "+v.one)
			case n > 1:
				parts = append(parts, fmt.Sprintf("%d %s", n, v.many))
			}
		}
		words = append(words, upperFirst(strings.Join(parts, ", "))+".")
	}
	return words
}

// spreadOf is a standard deviation against the mean: in percent, for levels in dB.
func spreadOf(p batch.Property, sd float64) string {
	switch {
	case math.IsNaN(sd):
		return signNone
	case p.Decibel:
		return plain2(sd) + " dB"
	case p.Median == 0 || math.IsNaN(p.Median):
		return signNone
	}
	return plain2(100*sd/math.Abs(p.Median)) + " %"
}

// plain2 is x to two significant digits without an exponent.
func plain2(x float64) string {
	if x == 0 {
		return "0"
	}
	decimals := max(1-int(math.Floor(math.Log10(math.Abs(x)))), 0)
	return withMinus(strconv.FormatFloat(x, 'f', decimals, 64))
}

// betweenSD is how far coils usually differ from each other: the robust spread
// where there is one, so that one bad coil does not speak for all, with the
// measurement's part taken off where something was measured twice.
func betweenSD(p batch.Property) float64 {
	sd := p.RobustSD
	if p.Scores == nil { // too few coils for it
		sd = p.SD
	}
	if p.Anova != nil {
		sd = math.Sqrt(math.Max(0, sd*sd-p.Anova.RepeatabilitySD*p.Anova.RepeatabilitySD))
	}
	return sd
}

func repeatSD(p batch.Property) float64 {
	if p.Anova != nil {
		return p.Anova.RepeatabilitySD
	}
	return math.NaN()
}

// centre is the mean or the median of a property, as many digits as its spread
// supports.
func centre(p batch.Property, x float64) string {
	if math.IsNaN(x) {
		return signNone
	}
	return valueOf(fit.Quantity{Value: x, U95: p.SD / 3}, unitOf(p.Property))
}

// spreads is the table for whoever winds the coils.
func (t *table) spreads(b *batch.Batch) {
	c := columns{gap: 2, right: []bool{false, true, true, true, true}}
	c.add("", "usual", "coil to coil", "same coil again", "measured to ±")
	for _, p := range b.Properties {
		c.add(p.Name, centre(p, p.Median), spreadOf(p, betweenSD(p)), spreadOf(p, repeatSD(p)), spreadOf(p, quantity.Coverage95*p.MeasurementU))
	}
	for i, s := range c.lines(nil) {
		if i == 0 {
			s = t.paint(sgrFaint, s)
		}
		t.line(s)
	}
}

// coils is a row for each coil.
func (t *table) coils(b *batch.Batch) {
	c := columns{gap: 2, right: []bool{false}}
	header := []string{"coil"}
	shown := b.Properties
	for _, p := range shown {
		header = append(header, p.Name)
		c.right = append(c.right, true)
	}
	c.right = append(c.right, false)
	build := func() {
		c.rows = nil
		c.add(append(slices.Clone(header[:len(shown)+1]), "verdict")...)
		for i, coil := range b.Coils {
			row := []string{truncate(visible(coil.Name), 24)}
			for _, p := range shown {
				text := t.brief(p.Values[i], unitOf(p.Property))
				if p.Outlying(i) {
					text += "!"
				}
				row = append(row, text)
			}
			c.add(append(row, coilVerdict(b, i))...)
		}
	}
	build()
	for c.width() > t.o.Width && len(shown) > 1 {
		shown = shown[:len(shown)-1]
		build()
	}
	for i, s := range c.lines(func(_, column int, s string) string {
		if column == len(shown)+1 && strings.TrimSpace(s) == string(batch.Fail) {
			return t.paint(sgrRed, s)
		}
		return s
	}) {
		if i == 0 {
			s = t.paint(sgrFaint, s)
		}
		t.line(s)
	}
	if left := b.Properties[len(shown):]; len(left) > 0 {
		var names []string
		for _, p := range left {
			names = append(names, p.Name)
		}
		t.hanging(" ", sgrFaint, "not shown for want of width: "+strings.Join(names, "; "))
	}
}

func coilVerdict(b *batch.Batch, i int) string {
	if !b.Judged {
		return signNone
	}
	return string(b.Coils[i].Verdict)
}

// signalWords are the signals of the control charts, without coils that stand
// out anyhow.
func signalWords(b *batch.Batch) []string {
	var words []string
	for _, p := range b.Properties {
		if p.Chart == nil {
			continue
		}
		for _, s := range p.Chart.Signals {
			if p.Outlying(p.Charted[s.At]) {
				continue // it is named already
			}
			words = append(words, fmt.Sprintf("Over time, %s of %s: %s.", p.Name, visible(b.Coils[p.Charted[s.At]].Name), s.What))
		}
	}
	return words
}

// chartWidth is the width of a control chart in text, between its limits.
const chartWidth = 41

// chart draws a control chart, time running down.
func (t *table) chart(b *batch.Batch, p batch.Property) {
	unit := unitOf(p.Property)
	t.line(t.paint(sgrBold, upperFirst(p.Name)+" over time"))
	c := columns{gap: 2, right: []bool{false, true}}
	place := func(x float64) int {
		return int(math.Round((x - p.Chart.Lower) / (p.Chart.Upper - p.Chart.Lower) * (chartWidth - 1)))
	}
	c.add("", "", fmt.Sprintf("%-*s%s%*s", chartWidth/2-3, centre(p, p.Chart.Lower), centre(p, p.Chart.Centre), chartWidth/2-3, centre(p, p.Chart.Upper)))
	for n, x := range p.Chart.Values {
		strip := []rune(strings.Repeat(" ", chartWidth))
		strip[0], strip[chartWidth/2], strip[chartWidth-1] = '|', '·', '|'
		mark, end := 'o', ""
		if slices.ContainsFunc(p.Chart.Signals, func(s batch.Signal) bool { return s.At == n }) {
			mark, end = 'X', " !"
		}
		at := chartWidth / 2
		if p.Chart.Upper > p.Chart.Lower {
			at = min(max(place(x), 0), chartWidth-1)
		}
		strip[at] = mark
		c.add(truncate(visible(b.Coils[p.Charted[n]].Name), 20), valueOf(fit.Quantity{Value: x, U95: p.SD / 3}, unit), string(strip)+end)
	}
	for _, s := range c.lines(nil) {
		t.line(s)
	}
}

// statistics is the table for whoever asks how it was worked out.
func (t *table) statistics(b *batch.Batch) {
	t.line(t.paint(sgrBold, "Statistics"))
	c := columns{gap: 2, right: []bool{false, true, true, true, true, true, true, true, true}}
	c.add("", "n", "mean", "s", "median", "Qn", "s_r", "s_L", "F (P)")
	for _, p := range b.Properties {
		anova := signNone
		if a := p.Anova; a != nil {
			anova = ratioWords(a.F)
			if !math.IsNaN(a.P) {
				anova += " (" + probabilityWords(a.P) + ")"
			}
		}
		c.add(p.Name, strconv.Itoa(p.Known), centre(p, p.Mean), spreadOf(p, p.SD), centre(p, p.Median), spreadOf(p, p.RobustSD),
			spreadOf(p, repeatSD(p)), spreadOf(p, anovaBetween(p)), anova)
	}
	if c.width() > t.o.Width {
		c.gap = 1
	}
	for i, s := range c.lines(nil) {
		if i == 0 {
			s = t.paint(sgrFaint, s)
		}
		t.line(s)
	}
}

func anovaBetween(p batch.Property) float64 {
	if p.Anova == nil {
		return math.NaN()
	}
	return p.Anova.BetweenSD
}

// ratioWords is F; it has no value where nothing scatters.
func ratioWords(f float64) string {
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return signNone
	}
	return fmt.Sprintf("%.3g", f)
}

func probabilityWords(p float64) string {
	switch {
	case math.IsNaN(p):
		return "P " + signNone
	case p < 0.001:
		return "P < 0.001"
	}
	return fmt.Sprintf("P %.2g", p)
}

// batchRemarks say how the numbers were made.
func batchRemarks(b *batch.Batch) []string {
	out := []string{
		"Usual is the median. Coil to coil is the usual spread: Qn, with s_r taken off where coils were measured more than once.",
		"Spreads are standard deviations in percent of the median: s of the coils, each counted once; Qn the same without being spoiled by a few bad coils (Rousseeuw and Croux 1993).",
		"s_r is the repeatability of measuring one coil again, s_L the spread of the coils themselves, by one-way analysis of variance (ISO 5725-2). A coil is the same where its name is.",
		"! marks what lies more than 3.5 robust standard deviations from the median, the measurement's own uncertainty included.",
	}
	if b.Judged {
		out = append(out, fmt.Sprintf("A coil passes where it keeps %g U95 inside of every limit, and fails where it is that far beyond one (guard bands, JCGM 106).", b.Guard))
	}
	return append(out, "Control limits lie three standard deviations about the mean, by moving ranges (ISO 7870-2), in the order of time.")
}

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

// number or nil, for JSON.
func finiteOrNil(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}

// BatchJSON writes the batch for programs.
func BatchJSON(w io.Writer, b *batch.Batch) error {
	out := batchJSON{Schema: batchSchema, Guard: b.Guard, Coils: []batchCoilJSON{}, Properties: []batchPropertyJSON{}}
	for i, coil := range b.Coils {
		c := batchCoilJSON{Coil: coil.Name, Verdict: "", Findings: orEmpty(coil.Suspicion.Findings), Cause: coil.Suspicion.Cause, Values: map[string]batchValJSON{}}
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
		one := batchPropertyJSON{propertyRecord: propertyRecord{p.Key, p.Name, string(unitOf(p.Property))}, N: p.Known,
			Mean: finiteOrNil(p.Mean), SD: finiteOrNil(p.SD), Median: finiteOrNil(p.Median), RobustSD: finiteOrNil(p.RobustSD), MeasurementU: finiteOrNil(p.MeasurementU)}
		if a := p.Anova; a != nil {
			one.Anova = &anovaJSON{a.BetweenDF, a.BetweenSS, a.WithinDF, a.WithinSS, finiteOrNil(a.F), finiteOrNil(a.P), a.RepeatabilitySD, a.BetweenSD}
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
	encoder := json.NewEncoder(w)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	return encoder.Encode(out)
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
		row := []string{cellText(coil.Name), cellText(strings.Join(folders, " ")), date, verdict, cellText(coil.Suspicion.String())}
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

// limitWords are limits as text: "2.28 H … 2.52 H", "at least 3".
func limitWords(l *batch.Limits, unit quantity.Unit) string {
	digits := 4
	switch {
	case l == nil:
		return signNone
	case math.IsInf(l.Lower, -1):
		return "at most " + plain(l.Upper, unit, digits)
	case math.IsInf(l.Upper, 1):
		return "at least " + plain(l.Lower, unit, digits)
	}
	return plain(l.Lower, unit, digits) + " … " + plain(l.Upper, unit, digits)
}
