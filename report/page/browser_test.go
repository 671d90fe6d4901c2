package page

import (
	"bytes"
	"context"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"coilsweep/report/browserrig"
	"coilsweep/report/figure"
	"coilsweep/report/internal/invented"
)

// tab is a report in the browser.
type tab struct{ *browserrig.Tab }

// open shows a document's page from disk.
func open(t *testing.T, browser context.Context, d CoilDocument, v browserrig.View) tab {
	t.Helper()
	return tab{browserrig.OpenText(t, browser, pageText(t, d), v)}
}

// box is where the plot area of a figure is in the window, in px, and the ends
// of its frequency axis, from what the figure says of itself.
type plotBox struct{ Left, Right, Top, Bottom, Lo, Hi float64 }

func (p tab) box(figure string) plotBox {
	return browserrig.JS[plotBox](p.Tab, `(() => {
		const svg = document.getElementById("`+figure+`");
		svg.scrollIntoView({block: "center", behavior: "instant"});
		const r = svg.getBoundingClientRect(), k = r.width / svg.viewBox.baseVal.width;
		const [left, top, right, bottom] = svg.dataset.box.split(" ").map(Number);
		const [, lo, hi] = svg.dataset.x.split(" ").map(Number);
		return {Left: r.left + k * left, Right: r.left + k * right,
			Top: r.top + k * top, Bottom: r.top + k * bottom, Lo: lo, Hi: hi};
	})()`)
}

// at is the place of a frequency on a logarithmic axis.
func (b plotBox) at(f float64) float64 {
	return b.Left + (b.Right-b.Left)*math.Log(f/b.Lo)/math.Log(b.Hi/b.Lo)
}

// cursorHz is the frequency that the page says the cursor is at.
func (p tab) cursorHz() float64 {
	text := browserrig.JS[string](p.Tab, `document.getElementById("cursor-at").textContent`)
	var f float64
	unit := ""
	if _, err := fmt.Sscanf(text, "%g %s", &f, &unit); err != nil {
		p.T.Fatalf("cursor at %q: %v", text, err)
	}
	if unit == "kHz" {
		f *= 1000
	}
	return f
}

// valueAt is the value of a curve at x, by interpolation.
func valueAt(xs, ys []float64, x float64) float64 {
	for i := 1; i < len(xs); i++ {
		if x <= xs[i] {
			return ys[i-1] + (ys[i]-ys[i-1])*(x-xs[i-1])/(xs[i]-xs[i-1])
		}
	}
	return math.NaN()
}

// frequencyLabels are the labels below a figure.
func (p tab) frequencyLabels(figure string) string {
	return browserrig.JS[string](p.Tab,
		`[...document.querySelectorAll("#`+figure+` .grid-x text")].map(t => t.textContent).join(" ")`)
}

// The page does what it promises in a real browser without a network.
func TestPageInBrowser(t *testing.T) {
	alive := browserrig.Start(t, 10*time.Minute)
	d := inventedDocument(invented.EightLoads, 120)
	for name, test := range map[string]func(*testing.T, context.Context, CoilDocument){
		"noise is heard": browserNoiseIsHeard,
		"cursor":         browserCursor,
		"switches":       browserSwitches,
		"zoom":           browserZoom,
		"without script": browserWithoutScript,
		"hostile names":  browserHostileNames,
		"accessibility":  browserAccessibility,
		"other pages":    browserOtherPages,
		"prediction":     browserPrediction,
		"paper":          browserPaper,
		"certificate":    browserCertificate,
	} {
		t.Run(name, func(t *testing.T) { test(t, alive, d) })
	}
}

func browserNoiseIsHeard(t *testing.T, alive context.Context, _ CoilDocument) {
	p := browserrig.OpenText(t, alive, `<!doctype html>
		<meta http-equiv="Content-Security-Policy" content="script-src 'sha256-'"><title>x</title>
		<script>alert(1)</script><img alt="" src="http://example.invalid/x.png">`, browserrig.View{})
	noise := strings.Join(p.Noise(), "\n")
	for _, want := range []string{"Content Security Policy", "it asked for http://example.invalid/x.png", "ERR_"} {
		if !strings.Contains(noise, want) {
			t.Errorf("not heard: %s, only:\n%s", want, noise)
		}
	}
}

func browserCursor(t *testing.T, alive context.Context, d CoilDocument) {
	p := open(t, alive, d, browserrig.View{})
	b := p.box("magnitude-w")
	const f = 3000.0
	p.Mouse(input.DispatchMouseEventTypeMouseMoved, b.at(f), (b.Top+b.Bottom)/2)
	if got := p.cursorHz(); math.Abs(got/f-1) > 0.01 {
		t.Errorf("the pointer at 3 kHz gives a cursor at %g Hz", got)
	}
	// The values are those of the take at that frequency.
	c := d.Result.Takes[3].Curve
	want := valueAt(c.FrequencyHz, c.FitMagnitudeDB, p.cursorHz())
	text := browserrig.JS[string](p.Tab,
		`document.querySelectorAll("#cursor-values tbody tr")[3].querySelectorAll("td")[2].textContent`)
	var got float64
	if _, err := fmt.Sscanf(strings.Replace(text, "−", "-", 1), "%g dB", &got); err != nil ||
		math.Abs(got-want) > 0.05 {
		t.Errorf("fit at the cursor is %q, want %.2f dB", text, want)
	}
	n := browserrig.JS[int](p.Tab, `document.querySelectorAll("#magnitude-w .cursor-dot").length`)
	if n != len(d.Result.Takes) {
		t.Errorf("%d dots on curves, want %d", n, len(d.Result.Takes))
	}
	// By keys, and said to screen readers.
	before := p.cursorHz()
	p.Key("#cursor", kb.ArrowRight+kb.ArrowRight)
	if after := p.cursorHz(); !(after > before && after < 1.1*before) {
		t.Errorf("two steps to the right lead from %g Hz to %g Hz", before, after)
	}
	said := browserrig.JS[string](p.Tab, `document.getElementById("cursor").getAttribute("aria-valuetext")`)
	if !strings.HasSuffix(said, "Hz") {
		t.Errorf("the slider says %q", said)
	}
	p.Silent()
}

func browserSwitches(t *testing.T, alive context.Context, d CoilDocument) {
	p := open(t, alive, d, browserrig.View{})
	const curve = `#magnitude-w .curve[data-group="t1"]`
	for _, keys := range []bool{false, true} {
		flip := func() {
			if keys {
				p.Key(`input[data-show="t1"]`, " ")
				return
			}
			p.Do(chromedp.Click(chromedp.CSS(`input[data-show="t1"]`)))
		}
		if !p.Visible(curve) {
			t.Fatalf("keys %t: the curve is not there at first", keys)
		}
		if flip(); p.Visible(curve) || p.Visible(`#phase-w .curve[data-group="t1"]`) ||
			!p.Visible(`#magnitude-w .curve[data-group="t0"]`) {
			t.Errorf("keys %t: switched off, the curve is there or another one is gone", keys)
		}
		if flip(); !p.Visible(curve) {
			t.Errorf("keys %t: switched on, the curve is not there", keys)
		}
	}
	p.Do(chromedp.Click(chromedp.CSS(`input[data-layer="measured"]`)))
	if p.Visible("#response .trace") || !p.Visible(curve) {
		t.Error("the layer of what was measured is not switched off alone")
	}
	p.Silent()
}

func browserZoom(t *testing.T, alive context.Context, d CoilDocument) {
	p := open(t, alive, d, browserrig.View{})
	whole := p.frequencyLabels("magnitude-w")
	if whole != "20 50 100 200 500 1k 2k 5k 10k 20k" {
		t.Fatalf("the axis says %q", whole)
	}
	b := p.box("magnitude-w")
	middle := (b.Top + b.Bottom) / 2
	p.Mouse(input.DispatchMouseEventTypeMousePressed, b.at(1000), middle)
	p.Mouse(input.DispatchMouseEventTypeMouseMoved, b.at(2000), middle)
	p.Mouse(input.DispatchMouseEventTypeMouseMoved, b.at(10000), middle)
	p.Mouse(input.DispatchMouseEventTypeMouseReleased, b.at(10000), middle)
	if got := p.frequencyLabels("magnitude-w"); got != "2k 5k 10k" && got != "1k 2k 5k 10k" && got != "1k 2k 5k" {
		t.Errorf("after a drag from 1 kHz to 10 kHz the axis says %q", got)
	}
	if a, b := p.frequencyLabels("phase-w"), p.frequencyLabels("magnitude-w"); a != b {
		t.Errorf("the phase is shown over %q, the magnitude over %q", a, b)
	}
	p.Key("#cursor", "0")
	if got := p.frequencyLabels("magnitude-w"); got != whole {
		t.Errorf("back, the axis says %q", got)
	}
	p.Key("#cursor", "++")
	if got := p.frequencyLabels("magnitude-w"); got == whole || got == "" {
		t.Errorf("after two times + the axis says %q", got)
	}
	p.Key("#cursor", "----")
	if got := p.frequencyLabels("magnitude-w"); got != whole {
		t.Errorf("after four times - the axis says %q", got)
	}
	p.Do(chromedp.Click(chromedp.CSS(`input[data-do="linear"]`)))
	if got := p.frequencyLabels("magnitude-w"); got != "2k 4k 6k 8k 10k 12k 14k 16k 18k 20k" &&
		got != "5k 10k 15k 20k" {
		t.Errorf("linear, the axis says %q", got)
	}
	p.Silent()
}

func browserWithoutScript(t *testing.T, alive context.Context, d CoilDocument) {
	p := open(t, alive, d, browserrig.View{NoScript: true})
	said, err := chromedp.Run(p.Ctx, chromedp.Text(chromedp.CSS("main")))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Summary", "2.410 H", "plus 470 pF", "Provenance"} {
		if !strings.Contains(said, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	for selector, want := range map[string]bool{
		"#magnitude-w .curve": true, "#phase-w .curve": true, "#line-w .point": true, "#residual-t0 .dots": true,
		".controls": false, ".cursor": false,
	} {
		if got := p.Visible(selector); got != want {
			t.Errorf("%s is shown: %t", selector, got)
		}
	}
	p.Silent()
}

func browserHostileNames(t *testing.T, alive context.Context, d CoilDocument) {
	h := hostile()
	p := open(t, alive, h, browserrig.View{Width: 390, Height: 800})
	p.Key("#cursor", kb.ArrowRight+"+")
	if got := browserrig.JS[string](p.Tab, `document.querySelector("h1").textContent`); got != h.Result.Coil {
		t.Errorf("the coil is called %q, want %q", got, h.Result.Coil)
	}
	n := browserrig.JS[int](p.Tab,
		`document.querySelectorAll("img, main script, main style, [onload], [onmouseover]").length`)
	if n > 0 {
		t.Errorf("%d elements came in with names", n)
	}
	p.Fits("the page", 390)
	p.Silent()
}

func browserAccessibility(t *testing.T, alive context.Context, d CoilDocument) {
	p := open(t, alive, inventedDocument(invented.ThreeLoads, 60), browserrig.View{})
	// All that can be opened is open.
	browserrig.JS[any](p.Tab, `document.querySelectorAll("details").forEach(d => d.open = true); null`)
	for name, test := range map[string]struct {
		browserrig.View
		rules string
		least int // rules that apply
	}{
		"light": {browserrig.View{}, "", 20}, "dark": {browserrig.View{Dark: true},
			`runOnly: ["color-contrast"], `, 1}, "phone": {browserrig.View{Width: 390, Height: 800}, "", 20},
	} {
		t.Run(name, func(t *testing.T) {
			p.Show(test.View)
			p.Accessible(test.rules, test.least)
		})
	}
}

func browserOtherPages(t *testing.T, alive context.Context, d CoilDocument) {
	var compare, batch, guide bytes.Buffer
	if err := Comparison(&compare, ComparisonDocument{Comparison: invented.Compared(t, invented.Coils(5, 60)),
		SortKey: "given", Made: invented.Day}); err != nil {
		t.Fatal(err)
	}
	if err := Batch(&batch, BatchDocument{Batch: invented.Batch(t, 8, 60), Made: invented.Day}); err != nil {
		t.Fatal(err)
	}
	if err := Guide(&guide, "guide", []byte("# The bench\n\n## Cautions\n\n- Phantom power off.\n"),
		fstest.MapFS{}); err != nil {
		t.Fatal(err)
	}
	for name, page := range map[string]string{"comparison": compare.String(), "batch": batch.String(),
		"guide":       guide.String(),
		"pair":        pairPageText(t, invented.Pair()),
		"certificate": certificateText(t, certified()),
		"turns":       turnsPageText(t, invented.Turns()),
		"prediction":  predictionPageText(t, predictionDocument(t))} {
		t.Run(name, func(t *testing.T) {
			p := tab{browserrig.OpenText(t, alive, page, browserrig.View{})}
			browserrig.JS[any](p.Tab, `document.querySelectorAll("details").forEach(d => d.open = true); null`)
			p.Accessible("", 10)
			p.Show(browserrig.View{Dark: true})
			p.Accessible(`runOnly: ["color-contrast"], `, 1)
			p.Silent()
		})
	}
}

func browserPrediction(t *testing.T, alive context.Context, _ CoilDocument) {
	d := predictionDocument(t)
	p := tab{browserrig.OpenText(t, alive, predictionPageText(t, d), browserrig.View{Width: 390, Height: 800})}
	p.Fits("the page", 390)
	p.Show(browserrig.View{})
	b := p.box("predicted-w")
	p.Mouse(input.DispatchMouseEventTypeMouseMoved, b.at(3000), (b.Top+b.Bottom)/2)
	curve := figure.NewPredicted(d.Prediction)
	want := valueAt(curve.Hz, curve.DB, p.cursorHz())
	text := browserrig.JS[string](p.Tab, `document.querySelector("#cursor-values tbody td").textContent`)
	var got float64
	if _, err := fmt.Sscanf(strings.Replace(text, "−", "-", 1), "%g dB", &got); err != nil ||
		math.Abs(got-want) > 0.05 {
		t.Errorf("level at the cursor is %q, want %.2f dB", text, want)
	}
	whole := p.frequencyLabels("predicted-w")
	if p.Key("#cursor", "++"); p.frequencyLabels("predicted-w") == whole {
		t.Error("the figure does not zoom")
	}
	// The mark of the peak goes with the axis: where it stands by the labels below it.
	const marked = `(svg => { const x = Number(svg.querySelector(".ring").getAttribute("cx"));
		const [a, b] = [...svg.querySelectorAll(".grid-x text")].filter(t => t.textContent).slice(0, 2)
			.map(t => [Number(t.getAttribute("x")), Math.log(parseFloat(t.textContent) * (t.textContent.endsWith("k") ? 1000 : 1))]);
		return Math.exp(a[1] + (x - a[0]) * (b[1] - a[1]) / (b[0] - a[0])); })(document.getElementById("predicted-w"))`
	if hz := browserrig.JS[float64](p.Tab, marked); math.Abs(hz/d.Prediction.Peak.Value-1) > 0.005 {
		t.Errorf("zoomed, the mark of the peak at %g Hz stands at %g Hz", d.Prediction.Peak.Value, hz)
	}
	p.Do(chromedp.Click(chromedp.CSS(`input[data-layer="band"]`)))
	if p.Visible("#response .band") || !p.Visible("#response .curve") {
		t.Error("the band of U95 is not switched off alone")
	}
	p.Silent()
}

func browserPaper(t *testing.T, alive context.Context, d CoilDocument) {
	p := open(t, alive, d, browserrig.View{Dark: true})
	p.Key("#cursor", "+++") // paper shows the whole range
	for name, paper := range map[string]chromedp.PaperSize{"A4": chromedp.PaperA4, "Letter": chromedp.PaperLetter} {
		file, err := chromedp.Run(p.Ctx, chromedp.PrintToPDF(chromedp.PDFPaper(paper),
			chromedp.PDFPrintBackground()))
		if err != nil {
			t.Fatal(err)
		}
		pages, text := onPaper(t, name, file)
		if pages < 3 || pages > 12 {
			t.Errorf("%s: %d pages", name, pages)
		}
		for _, want := range []string{"Summary", "Response", "Takes", "Residuals", "Noise floor", "Distortion", "Model",
			"Where the uncertainty comes from",
			"Meter readings", "Bench and conditions", "Provenance", "10k 20k frequency, Hz", d.Program} {
			if !strings.Contains(text, want) {
				t.Errorf("%s does not say %q", name, want)
			}
		}
		for _, unwanted := range []string{"Cursor", "Curves", "Closer"} {
			if strings.Contains(text, unwanted) {
				t.Errorf("%s says %q: that is for the screen", name, unwanted)
			}
		}
	}
	p.Silent()
}

// onPaper is what a printed page says and on how many sheets, with nothing beyond their edges.
func onPaper(t *testing.T, name string, file []byte) (pages int, said string) {
	t.Helper()
	tool := exec.Command("pdftotext", "-bbox", "-", "-")
	tool.Stdin = bytes.NewReader(file)
	var complaint bytes.Buffer
	tool.Stderr = &complaint
	out, err := tool.Output()
	if err != nil {
		t.Fatalf("pdftotext of Poppler: %v %s", err, complaint.String())
	}
	var width, height float64
	var text strings.Builder
	for in := xml.NewDecoder(bytes.NewReader(out)); ; {
		token, err := in.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		switch e := token.(type) {
		case xml.StartElement:
			number := map[string]float64{}
			for _, a := range e.Attr {
				if v, err := strconv.ParseFloat(a.Value, 64); err == nil {
					number[a.Name.Local] = v
				}
			}
			switch e.Name.Local {
			case "page":
				pages++
				width, height = number["width"], number["height"]
			case "word":
				if number["xMin"] < 20 || number["xMax"] > width-20 || number["yMin"] < 20 ||
					number["yMax"] > height-20 {
					t.Errorf("%s, page %d: a word at %v is at the edge of %g × %g pt", name, pages, number, width,
						height)
				}
			}
		case xml.CharData:
			if s := strings.TrimSpace(string(e)); s != "" {
				text.WriteString(s + " ")
			}
		}
	}
	return pages, text.String()
}
