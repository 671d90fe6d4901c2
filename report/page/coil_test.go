package page

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"encoding/xml"
	"errors"
	"html"
	"io"
	"io/fs"
	"regexp"
	"strings"
	"testing"

	"coilsweep/capture"
	"coilsweep/fit"
	"coilsweep/report/internal/invented"
)

func pageText(t *testing.T, d CoilDocument) string {
	t.Helper()
	var b bytes.Buffer
	if err := Coil(&b, d); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// hostile has names that would do harm where they are not escaped.
func hostile() CoilDocument {
	d := inventedDocument(invented.EightLoads[2:6], 50)
	r := &d.Result
	r.Coil = `<script>alert("x")</script> & 'quoted' ` + strings.Repeat("long ", 40)
	d.Coil.Notes = `"><img src="http://example.invalid/x.png" onerror=alert(1)>`
	for i, name := range invented.HostileNames {
		r.Takes[i].Name, d.Takes[i].Name = name, name
		r.Line.Points[min(i, len(r.Line.Points)-1)].Take = name
	}
	r.Takes[3].Used = false
	r.Warnings = []string{`<style>*{display:none}</style> ]]> <!-- -->`}
	d.Takes[0].Bench.InputDevice = "device \x00\x1b[2J javascript:alert(4)"
	return d
}

// element is a start tag of a page.
type element struct {
	name       string
	attributes map[string]string
}

// elements are the start tags of a page. The page is written so that a lenient
// XML reader gets through it; script and style bodies are taken out first.
func elements(t *testing.T, page string) []element {
	t.Helper()
	page = regexp.MustCompile(`(?s)(<(?:script|style)[^>]*>).*?(</(?:script|style)>)`).ReplaceAllString(page, "$1$2")
	page = strings.Replace(page, "<!doctype html>", "", 1)
	in := xml.NewDecoder(strings.NewReader(page))
	in.Strict, in.AutoClose, in.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	var out []element
	for {
		token, err := in.Token()
		if errors.Is(err, io.EOF) {
			return out
		}
		if err != nil {
			t.Fatalf("page does not parse: %v", err)
		}
		if start, ok := token.(xml.StartElement); ok {
			e := element{start.Name.Local, map[string]string{}}
			for _, a := range start.Attr {
				e.attributes[a.Name.Local] = a.Value
			}
			out = append(out, e)
		}
	}
}

// selfContained checks that a page holds nothing that leads out of it or runs,
// but its own script and data.
func selfContained(t *testing.T, page string) {
	t.Helper()
	if scripts := ownOnly(t, page); scripts != 2 {
		t.Errorf("%d script elements, want the data and the page's own", scripts)
	}
}

// ownOnly wants that a page needs nothing else: what it plays stands in it. It counts
// the page's script elements.
func ownOnly(t *testing.T, page string) (scripts int) {
	t.Helper()
	for _, e := range elements(t, page) {
		if e.name == "script" {
			scripts++
		}
		switch e.name {
		case "img", "iframe", "object", "embed", "base", "video", "foreignObject", "use", "image":
			t.Errorf("the page has a <%s>", e.name)
		}
		for key, value := range e.attributes {
			switch {
			case e.name == "audio" && key == "src" && strings.HasPrefix(value, "data:audio/wav;base64,"):
			case strings.HasPrefix(key, "on"), key == "style", key == "srcset", key == "src":
				t.Errorf("<%s %s=%q>", e.name, key, value)
			case key == "href" && !strings.HasPrefix(value, "#") && value != "data:,":
				t.Errorf("<%s href=%q> leads out of the page", e.name, value)
			}
		}
	}
	return scripts
}

func TestPageNeedsNothingElse(t *testing.T) {
	for name, d := range map[string]CoilDocument{"three takes": inventedDocument(invented.ThreeLoads, 60),
		"hostile names": hostile()} {
		t.Run(name, func(t *testing.T) {
			selfContained(t, pageText(t, d))
		})
	}
	names, err := fs.Glob(sources, "*")
	if err != nil || len(names) == 0 {
		t.Fatal(names, err)
	}
	for _, name := range names {
		outside := regexp.MustCompile(`@import|url\(|https?://[^w]|fetch\(|XMLHttpRequest|eval\(|innerHTML = [^t]`)
		if m := outside.FindString(source(name)); m != "" {
			t.Errorf("%s holds %q", name, m)
		}
	}
}

// The policy lets through exactly the style and the script that are there
// (Content Security Policy Level 3, 6.7.2.2 and 2.3.1: base64 of SHA-256).
func TestPolicyMatchesStyleAndScript(t *testing.T) {
	policyMatches(t, pageText(t, hostile()))
}

func policyMatches(t *testing.T, page string) {
	t.Helper()
	header := regexp.MustCompile(`http-equiv="Content-Security-Policy" content="([^"]*)"`)
	policy := html.UnescapeString(header.FindStringSubmatch(page)[1])
	if !strings.HasPrefix(policy, "default-src 'none'; ") || strings.Contains(policy, "unsafe") {
		t.Errorf("policy %q is not strict", policy)
	}
	for directive, pattern := range map[string]string{"style-src": `(?s)<style>(.*?)</style>`,
		"script-src": `(?s)<script>(.*?)</script>`} {
		want := directive
		for _, own := range regexp.MustCompile(pattern).FindAllStringSubmatch(page, -1) {
			sum := sha256.Sum256([]byte(own[1]))
			want += " 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
		}
		if !strings.Contains(policy, want+";") {
			t.Errorf("policy %q lacks %s", policy, want)
		}
	}
}

func TestHostileNamesAreShown(t *testing.T) {
	d := hostile()
	page := pageText(t, d)
	for _, raw := range []string{"<script>alert", "<img", "onload=alert(2)>", "<style>*", "\u202e", "\x00", "\x1b"} {
		if strings.Contains(page, raw) {
			t.Errorf("%q stands unescaped in the page", raw)
		}
	}
	shown := html.UnescapeString(page)
	for _, want := range []string{d.Result.Coil, d.Coil.Notes, d.Result.Takes[0].Name, d.Result.Takes[2].Name,
		d.Result.Warnings[0]} {
		if !strings.Contains(shown, want) {
			t.Errorf("%q is not shown", want)
		}
	}
}

// Every reference within the page leads somewhere, and no id is given twice.
func TestPageReferences(t *testing.T) {
	for name, d := range map[string]CoilDocument{"eight takes": inventedDocument(invented.EightLoads, 60),
		"hostile names": hostile()} {
		ids := map[string]bool{}
		all := elements(t, pageText(t, d))
		figures := 0
		for _, e := range all {
			if id := e.attributes["id"]; id != "" {
				if ids[id] {
					t.Errorf("%s: id %q given twice", name, id)
				}
				ids[id] = true
			}
		}
		for _, e := range all {
			var refs []string
			for _, key := range []string{"aria-labelledby", "aria-describedby", "for"} {
				refs = append(refs, strings.Fields(e.attributes[key])...)
			}
			if href, ok := strings.CutPrefix(e.attributes["href"], "#"); ok {
				refs = append(refs, href)
			}
			if clip := e.attributes["clip-path"]; clip != "" {
				refs = append(refs, strings.TrimSuffix(strings.TrimPrefix(clip, "url(#"), ")"))
			}
			for _, ref := range refs {
				if !ids[ref] {
					t.Errorf("%s: <%s> refers to %q, which is not there", name, e.name, ref)
				}
			}
			if e.name == "svg" {
				switch {
				case e.attributes["aria-hidden"] == "true":
				case e.attributes["role"] == "img" && e.attributes["aria-labelledby"] != "":
					figures++
				default:
					t.Errorf("%s: a drawing without a role or a name: %v", name, e.attributes)
				}
			}
		}
		if figures < 12 {
			t.Errorf("%s: %d figures", name, figures)
		}
	}
}

// The numbers behind the figures are the curves' numbers.
func TestPageData(t *testing.T) {
	d := inventedDocument(invented.ThreeLoads, 60)
	page := pageText(t, d)
	var columns [][]*float64
	data := regexp.MustCompile(`(?s)id="columns">(.*?)</script>`).FindStringSubmatch(page)[1]
	if err := json.Unmarshal([]byte(data), &columns); err != nil {
		t.Fatal(err)
	}
	row := regexp.MustCompile(`(?s)<tr data-group="t1" data-c="(\d+)">.*?</tr>`).FindStringSubmatch(page)
	numbers := regexp.MustCompile(`data-c="(\d+)" data-unit`).FindAllStringSubmatch(row[0], -1)
	if len(numbers) != 6 {
		t.Fatalf("%d columns at the cursor, want 6", len(numbers))
	}
	c := d.Result.Takes[1].Curve
	for i, want := range [][]float64{c.FrequencyHz, c.MagnitudeDB, c.MagnitudeU95DB, c.FitMagnitudeDB, c.PhaseDeg,
		c.PhaseU95Deg, c.NoiseFloorDB} {
		at := row[1]
		if i > 0 {
			at = numbers[i-1][1]
		}
		var n int
		if err := json.Unmarshal([]byte(at), &n); err != nil {
			t.Fatal(err)
		}
		for k, v := range columns[n] {
			if diff := *v - want[k]; diff > 1e-3*(1+want[k]*want[k]) || diff < -1e-3*(1+want[k]*want[k]) {
				t.Fatalf("column %d, point %d: %g, want %g", n, k, *v, want[k])
			}
		}
	}
}

// A page comes of whatever there is, down to nothing.
func TestPageOfLittle(t *testing.T) {
	unknown := fit.Unknown("nothing was measured")
	little := fit.Result{Coil: "invented", Inductance: unknown, Capacitance: unknown, CapacitanceCoil: unknown,
		Resistance:    unknown,
		BareResonance: unknown, BareQ: unknown}
	noFit := inventedDocument(invented.ThreeLoads, 60)
	for i := range noFit.Result.Takes {
		c := noFit.Result.Takes[i].Curve
		c.FitMagnitudeDB, c.FitPhaseDeg, c.FitU95DB, c.Residual = nil, nil, nil, nil
		c.NoiseFloorDB, c.Harmonic2DB, c.Harmonic3DB, c.MagnitudeU95DB = nil, nil, nil, nil
	}
	noFit.Result.Line = nil
	one := inventedDocument(invented.ThreeLoads[:1], 1)
	for name, d := range map[string]CoilDocument{
		"nothing": {Result: little}, "no fit": noFit, "one point": one,
		"lone take": {Result: invented.LoneTake(), Coil: capture.Coil{}},
	} {
		page := pageText(t, d)
		elements(t, page)
		for _, bad := range []string{"NaN", "Inf", "%!"} {
			body := page[strings.Index(page, "<body"):]
			body, _, _ = strings.Cut(body, "<script")
			if strings.Contains(body, bad) {
				t.Errorf("%s: the page holds %q", name, bad)
			}
		}
	}
	if page := pageText(t, CoilDocument{Result: little}); strings.Contains(page, "<script") ||
		!strings.Contains(page, "nothing was measured") {
		t.Error("without curves the page needs no script, and says why nothing is known")
	}
}

func TestPageSize(t *testing.T) {
	if n := len(pageText(t, inventedDocument(invented.EightLoads, 800))); n > 1_500_000 {
		t.Errorf("a page of eight takes has %d bytes, more than 1.5 MB", n)
	}
}

// What stands behind the numbers is on the page, in words and not in keys.
func TestPageShowsWhatStandsBehind(t *testing.T) {
	d := inventedDocument(invented.ThreeLoads, 60)
	d.Result.Budget[0].Quantity, d.Result.Budget[1].Quantity = "inductance_h", "capacitance_coil_f"
	page := html.UnescapeString(regexp.MustCompile(`(?s)<script.*?</script>|<[^>]*>`).ReplaceAllString(pageText(t,
		d), "\n"))
	page = strings.Join(strings.Fields(page), " ")
	for _, want := range []string{
		// The correlations of the invented covariance.
		"Inductance 1 −0.500 0.900", "Resistance 0.900 0.250 1",
		"Distributions by repeated fits (JCGM 101), 1000 trials, 2 of them without a minimum",
		"Inductance 2.410 H 0.010 H 2.391 H … 2.431 H 998", "Resonance of bare 8.660 kHz",
		"Inductance source share", "Self-capacitance source share",
		"frequency L in series AC resistance 100 Hz 2.410 ± 0.019 H 7.852 ± 0.062 kΩ",
		"7.213 kHz resonance with nothing added 2.327 ± 0.018 H 13.78 ± 0.11 kΩ",
		"L at 1 kHz, series From the coil’s own value to the reading: 2.410 H at low frequency; eddy currents −0.41 " +
			"%, self-capacitance +0.83 %.",
		"the temperature of the reading is not known",
		"What would explain the difference: a shorted turn, or metal near the coil",
		"winding 118.0 ± 3.7 pF the fit's total less the rest", "lead –¹ not stated",
		"¹ not known: nothing is stated of it",
		"Unaccounted: 1.0 ± 3.1 pF; En 0.31: all is accounted for.",
		"take peak frequency peak height −3 dB width LC frequency bare", "In a guitar", "as set 3.12 ± 0.11 kHz",
		"without the cable 3.12 ± 0.11 kHz", "tone 0 –¹ –¹ 0.900 ± 0.039",
	} {
		if !strings.Contains(page, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	for _, key := range []string{"_hz", "_h ", "_f ", "_ohm"} {
		if at := strings.Index(page, key); at >= 0 {
			t.Errorf("the page has a key: %q", page[max(0, at-30):min(len(page), at+10)])
		}
	}
	for i := range d.Result.Branch {
		d.Result.Branch[i].Inductance, d.Result.Branch[i].Resistance = fit.Unknown("one take"), fit.Unknown("one take")
	}
	if strings.Contains(pageText(t, d), "AC resistance") {
		t.Error("the page has a table of a winding that is not known at all")
	}
	d.Account, d.Harness, d.Result.MonteCarlo, d.Result.Covariance, d.Result.Budget = nil, nil, nil, nil, nil
	for _, unwanted := range []string{`id="account"`, `id="harness"`, `id="budget"`} {
		if strings.Contains(pageText(t, d), unwanted) {
			t.Errorf("the page has %s where there is nothing to show", unwanted)
		}
	}
}

func TestCoefficient(t *testing.T) {
	for r, want := range map[float64]string{0.25: "0.250", -0.9: "−0.900", 0.99987: "0.99987",
		-0.9999999: "−1.000000", 1: "1.000000", 0: "0.000"} {
		if got := coefficient(r); got != want {
			t.Errorf("%g is written %q, want %q", r, got, want)
		}
	}
}

func TestPageReportsItsError(t *testing.T) {
	if err := Coil(invented.FullDisk{}, CoilDocument{Result: invented.Result(invented.ThreeLoads,
		20)}); !errors.Is(err, invented.ErrFull) {
		t.Errorf("got error %v, want %v", err, invented.ErrFull)
	}
}
