package report

import (
	"bytes"
	"context"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	cdplog "github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// browser starts Chromium with an empty profile; the network is off in every
// tab. Where there is none the test fails: 'make deps' installs one.
func browser(t *testing.T) context.Context {
	t.Helper()
	if testing.Short() {
		t.Skip("a browser takes seconds")
	}
	program := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if path, err := exec.LookPath(name); err == nil {
			program = path
			break
		}
	}
	if program == "" {
		t.Fatal("Chromium is missing; 'make deps' installs it")
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(program), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.NoFirstRun, chromedp.UserDataDir(t.TempDir()),
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true),
		chromedp.Flag("host-resolver-rules", "MAP * ~NOTFOUND"), chromedp.ProxyServer("127.0.0.1:9")) // no network
	alive, cancel := context.WithTimeout(context.Background(), 2*time.Minute)
	t.Cleanup(cancel)
	alive, cancel = chromedp.NewExecAllocator(alive, options...)
	t.Cleanup(cancel)
	alive, _ = chromedp.NewContext(alive)
	if err := chromedp.Do(alive); err != nil {
		t.Fatalf("start of %s: %v", program, err)
	}
	t.Cleanup(func() {
		// The profile is removed next: nobody may write to it any more.
		if err := chromedp.Cancel(alive); err != nil {
			t.Errorf("end of %s: %v", program, err)
		}
	})
	return alive
}

// tab is a page in the browser, with all that it complained of or asked for.
type tab struct {
	t   *testing.T
	ctx context.Context

	lock     sync.Mutex
	heard    []string // errors on the console, exceptions
	requests []string
}

// view is how a tab shows its page; the zero value is a light desktop.
type view struct {
	width    int64
	height   int64
	dark     bool
	noScript bool
}

// open shows a document's page from disk.
func open(t *testing.T, browser context.Context, d Document, v view) *tab {
	t.Helper()
	return openText(t, browser, pageText(t, d), v)
}

func openText(t *testing.T, browser context.Context, text string, v view) *tab {
	t.Helper()
	path := filepath.Join(t.TempDir(), "report.html")
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := chromedp.NewContext(browser)
	t.Cleanup(cancel)
	p := &tab{t: t, ctx: ctx}
	if err := chromedp.Listen(ctx, p.hear); err != nil {
		t.Fatal(err)
	}
	call(p, network.Enable, network.EnableParams{})
	call(p, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: v.noScript})
	p.show(v)
	p.do(chromedp.Navigate("file://" + path))
	return p
}

// show changes the size of the window and the colour scheme.
func (p *tab) show(v view) {
	p.t.Helper()
	scheme := "light"
	if v.dark {
		scheme = "dark"
	}
	if v.width == 0 {
		v.width, v.height = 1200, 900
	}
	call(p, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: v.width, Height: v.height, DeviceScaleFactor: 1})
	call(p, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
}

func (p *tab) hear(event any) {
	p.lock.Lock()
	defer p.lock.Unlock()
	switch e := event.(type) {
	case *runtime.EventConsoleAPICalled:
		if e.Type == runtime.ConsoleAPICalledTypeError || e.Type == runtime.ConsoleAPICalledTypeWarning || e.Type == runtime.ConsoleAPICalledTypeAssert {
			p.heard = append(p.heard, fmt.Sprintf("console: %s", e.Type))
		}
	case *runtime.EventExceptionThrown:
		p.heard = append(p.heard, "exception: "+e.ExceptionDetails.Text)
	case *cdplog.EventEntryAdded:
		p.heard = append(p.heard, "log: "+e.Entry.Text)
	case *cdppage.EventJavascriptDialogOpening:
		p.heard = append(p.heard, "dialog: "+e.Message)
	case *network.EventRequestWillBeSent:
		p.requests = append(p.requests, e.Request.URL)
	}
}

// noise is what the page complained of, and what it asked for beside itself.
func (p *tab) noise() []string {
	p.lock.Lock()
	defer p.lock.Unlock()
	noise := append([]string(nil), p.heard...)
	for i, url := range p.requests {
		if i > 0 && !strings.HasPrefix(url, "data:") {
			noise = append(noise, "it asked for "+url)
		}
	}
	return noise
}

// silent wants a page without noise.
func (p *tab) silent() {
	p.t.Helper()
	for _, noise := range p.noise() {
		p.t.Error(noise)
	}
}

func (p *tab) do(actions ...chromedp.Action[chromedp.Void]) {
	p.t.Helper()
	if err := chromedp.Do(p.ctx, actions...); err != nil {
		p.t.Fatal(err)
	}
}

// call runs a command of the browser's protocol.
func call[P, R any](p *tab, command cdp.Command[P, R], params P) R {
	p.t.Helper()
	result, err := chromedp.Call(p.ctx, command, params)
	if err != nil {
		p.t.Fatal(err)
	}
	return result
}

// js is the value of an expression in a page.
func js[T any](p *tab, expression string) T {
	p.t.Helper()
	v, err := chromedp.Run(p.ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		p.t.Fatalf("%s: %v", expression[:min(len(expression), 60)], err)
	}
	return v
}

func (p *tab) key(selector, keys string) {
	p.t.Helper()
	p.do(chromedp.Focus(chromedp.CSS(selector)), chromedp.KeyEvent(keys))
}

// box is where the plot area of a figure is in the window, in px, and the ends
// of its frequency axis, from what the figure says of itself.
type plotBox struct{ Left, Right, Top, Bottom, Lo, Hi float64 }

func (p *tab) box(figure string) plotBox {
	p.t.Helper()
	return js[plotBox](p, `(() => {
		const svg = document.getElementById("`+figure+`");
		svg.scrollIntoView({block: "center", behavior: "instant"});
		const r = svg.getBoundingClientRect(), k = r.width / svg.viewBox.baseVal.width;
		const [left, top, right, bottom] = svg.dataset.box.split(" ").map(Number);
		const [, lo, hi] = svg.dataset.x.split(" ").map(Number);
		return {Left: r.left + k * left, Right: r.left + k * right, Top: r.top + k * top, Bottom: r.top + k * bottom, Lo: lo, Hi: hi};
	})()`)
}

// at is the place of a frequency on a logarithmic axis.
func (b plotBox) at(f float64) float64 {
	return b.Left + (b.Right-b.Left)*math.Log(f/b.Lo)/math.Log(b.Hi/b.Lo)
}

func (p *tab) mouse(kind input.DispatchMouseEventType, x, y float64) {
	p.t.Helper()
	options := []chromedp.MouseOption{chromedp.ButtonNone}
	if kind != input.DispatchMouseEventTypeMouseMoved {
		options = []chromedp.MouseOption{chromedp.ButtonLeft, chromedp.ClickCount(1)}
	}
	p.do(chromedp.MouseEvent(kind, x, y, options...))
}

// cursorHz is the frequency that the page says the cursor is at.
func (p *tab) cursorHz() float64 {
	p.t.Helper()
	text := js[string](p, `document.getElementById("cursor-at").textContent`)
	var f float64
	unit := ""
	if _, err := fmt.Sscanf(text, "%g %s", &f, &unit); err != nil {
		p.t.Fatalf("cursor at %q: %v", text, err)
	}
	if unit == "kHz" {
		f *= 1000
	}
	return f
}

// frequencyLabels are the labels below a figure.
func (p *tab) frequencyLabels(figure string) string {
	p.t.Helper()
	return js[string](p, `[...document.querySelectorAll("#`+figure+` .grid-x text")].map(t => t.textContent).join(" ")`)
}

// visible tells whether anything that matches is drawn.
func (p *tab) visible(selector string) bool {
	p.t.Helper()
	return js[bool](p, `[...document.querySelectorAll('`+selector+`')].some(n => n.getClientRects().length > 0)`)
}

// The page does what it promises in a real browser without a network.
func TestPageInBrowser(t *testing.T) {
	alive := browser(t)
	d := inventedDocument(eightLoads, 120)
	t.Run("noise is heard", func(t *testing.T) {
		p := openText(t, alive, `<!doctype html><meta http-equiv="Content-Security-Policy" content="script-src 'sha256-'"><title>x</title>
			<script>alert(1)</script><img alt="" src="http://example.invalid/x.png">`, view{})
		noise := strings.Join(p.noise(), "\n")
		for _, want := range []string{"Content Security Policy", "it asked for http://example.invalid/x.png", "ERR_"} {
			if !strings.Contains(noise, want) {
				t.Errorf("not heard: %s, only:\n%s", want, noise)
			}
		}
	})
	t.Run("cursor", func(t *testing.T) {
		p := open(t, alive, d, view{})
		b := p.box("magnitude-w")
		const f = 3000.0
		p.mouse(input.DispatchMouseEventTypeMouseMoved, b.at(f), (b.Top+b.Bottom)/2)
		if got := p.cursorHz(); math.Abs(got/f-1) > 0.01 {
			t.Errorf("the pointer at 3 kHz gives a cursor at %g Hz", got)
		}
		// The values are those of the take at that frequency.
		c := d.Result.Takes[3].Curve
		want := levelAt(c.FrequencyHz, c.FitMagnitudeDB, p.cursorHz())
		text := js[string](p, `document.querySelectorAll("#cursor-values tbody tr")[3].querySelectorAll("td")[2].textContent`)
		var got float64
		if _, err := fmt.Sscanf(strings.Replace(text, "−", "-", 1), "%g dB", &got); err != nil || math.Abs(got-want) > 0.05 {
			t.Errorf("fit at the cursor is %q, want %.2f dB", text, want)
		}
		if n := js[int](p, `document.querySelectorAll("#magnitude-w .cursor-dot").length`); n != len(d.Result.Takes) {
			t.Errorf("%d dots on curves, want %d", n, len(d.Result.Takes))
		}
		// By keys, and said to screen readers.
		before := p.cursorHz()
		p.key("#cursor", kb.ArrowRight+kb.ArrowRight)
		if after := p.cursorHz(); !(after > before && after < 1.1*before) {
			t.Errorf("two steps to the right lead from %g Hz to %g Hz", before, after)
		}
		if said := js[string](p, `document.getElementById("cursor").getAttribute("aria-valuetext")`); !strings.HasSuffix(said, "Hz") {
			t.Errorf("the slider says %q", said)
		}
		p.silent()
	})
	t.Run("switches", func(t *testing.T) {
		p := open(t, alive, d, view{})
		const curve = `#magnitude-w .curve[data-group="t1"]`
		for _, keys := range []bool{false, true} {
			flip := func() {
				if keys {
					p.key(`input[data-show="t1"]`, " ")
					return
				}
				p.do(chromedp.Click(chromedp.CSS(`input[data-show="t1"]`)))
			}
			if !p.visible(curve) {
				t.Fatalf("keys %t: the curve is not there at first", keys)
			}
			if flip(); p.visible(curve) || p.visible(`#phase-w .curve[data-group="t1"]`) || !p.visible(`#magnitude-w .curve[data-group="t0"]`) {
				t.Errorf("keys %t: switched off, the curve is there or another one is gone", keys)
			}
			if flip(); !p.visible(curve) {
				t.Errorf("keys %t: switched on, the curve is not there", keys)
			}
		}
		p.do(chromedp.Click(chromedp.CSS(`input[data-layer="measured"]`)))
		if p.visible("#response .trace") || !p.visible(curve) {
			t.Error("the layer of what was measured is not switched off alone")
		}
		p.silent()
	})
	t.Run("zoom", func(t *testing.T) {
		p := open(t, alive, d, view{})
		whole := p.frequencyLabels("magnitude-w")
		if whole != "20 50 100 200 500 1k 2k 5k 10k 20k" {
			t.Fatalf("the axis says %q", whole)
		}
		b := p.box("magnitude-w")
		middle := (b.Top + b.Bottom) / 2
		p.mouse(input.DispatchMouseEventTypeMousePressed, b.at(1000), middle)
		p.mouse(input.DispatchMouseEventTypeMouseMoved, b.at(2000), middle)
		p.mouse(input.DispatchMouseEventTypeMouseMoved, b.at(10000), middle)
		p.mouse(input.DispatchMouseEventTypeMouseReleased, b.at(10000), middle)
		if got := p.frequencyLabels("magnitude-w"); got != "2k 5k 10k" && got != "1k 2k 5k 10k" && got != "1k 2k 5k" {
			t.Errorf("after a drag from 1 kHz to 10 kHz the axis says %q", got)
		}
		if a, b := p.frequencyLabels("phase-w"), p.frequencyLabels("magnitude-w"); a != b {
			t.Errorf("the phase is shown over %q, the magnitude over %q", a, b)
		}
		p.key("#cursor", "0")
		if got := p.frequencyLabels("magnitude-w"); got != whole {
			t.Errorf("back, the axis says %q", got)
		}
		p.key("#cursor", "++")
		if got := p.frequencyLabels("magnitude-w"); got == whole || got == "" {
			t.Errorf("after two times + the axis says %q", got)
		}
		p.key("#cursor", "----")
		if got := p.frequencyLabels("magnitude-w"); got != whole {
			t.Errorf("after four times - the axis says %q", got)
		}
		p.do(chromedp.Click(chromedp.CSS(`input[data-do="linear"]`)))
		if got := p.frequencyLabels("magnitude-w"); got != "2k 4k 6k 8k 10k 12k 14k 16k 18k 20k" && got != "5k 10k 15k 20k" {
			t.Errorf("linear, the axis says %q", got)
		}
		p.silent()
	})
	t.Run("without script", func(t *testing.T) {
		p := open(t, alive, d, view{noScript: true})
		said, err := chromedp.Run(p.ctx, chromedp.Text(chromedp.CSS("main")))
		if err != nil {
			t.Fatal(err)
		}
		for _, want := range []string{"Summary", "2.410 H", "plus 470 pF", "Provenance"} {
			if !strings.Contains(said, want) {
				t.Errorf("the page does not say %q", want)
			}
		}
		for selector, want := range map[string]bool{
			"#magnitude-w .curve": true, "#phase-w .curve": true, "#line-w .point": true, "#residual-t0 .dots": true, ".controls": false, ".cursor": false,
		} {
			if got := p.visible(selector); got != want {
				t.Errorf("%s is shown: %t", selector, got)
			}
		}
		p.silent()
	})
	t.Run("hostile names", func(t *testing.T) {
		h := hostile()
		p := open(t, alive, h, view{width: 390, height: 800})
		p.key("#cursor", kb.ArrowRight+"+")
		if got := js[string](p, `document.querySelector("h1").textContent`); got != h.Result.Coil {
			t.Errorf("the coil is called %q, want %q", got, h.Result.Coil)
		}
		if n := js[int](p, `document.querySelectorAll("img, main script, main style, [onload], [onmouseover]").length`); n > 0 {
			t.Errorf("%d elements came in with names", n)
		}
		if wide := js[float64](p, `document.documentElement.scrollWidth`); wide > 390 {
			t.Errorf("the page is %g px wide on a screen of 390", wide)
		}
		p.silent()
	})
	t.Run("accessibility", func(t *testing.T) {
		axe, err := os.ReadFile("testdata/axe/axe.min.js")
		if err != nil {
			t.Fatal(err)
		}
		p := open(t, alive, inventedDocument(threeLoads, 60), view{})
		// All that can be opened is open.
		js[any](p, `document.querySelectorAll("details").forEach(d => d.open = true); null`)
		js[any](p, string(axe)+"; null")
		for name, test := range map[string]struct {
			view
			rules string
			least int // rules that apply
		}{
			"light": {view{}, "", 20}, "dark": {view{dark: true}, `runOnly: ["color-contrast"], `, 1}, "phone": {view{width: 390, height: 800}, "", 20},
		} {
			t.Run(name, func(t *testing.T) {
				p.show(test.view)
				accessible(t, p, test.rules, test.least)
			})
		}
	})
	t.Run("other pages", func(t *testing.T) {
		axe, err := os.ReadFile("testdata/axe/axe.min.js")
		if err != nil {
			t.Fatal(err)
		}
		var compare, batch, guide bytes.Buffer
		if err := ComparisonPage(&compare, ComparisonDocument{Comparison: compared(t, inventedCoils(5, 60)), SortKey: "given", Made: invented2026}); err != nil {
			t.Fatal(err)
		}
		if err := BatchPage(&batch, BatchDocument{Batch: inventedBatch(t, 8, 60), Made: invented2026}); err != nil {
			t.Fatal(err)
		}
		if err := Guide(&guide, "guide", []byte("# The bench\n\n## Cautions\n\n- Phantom power off.\n"), fstest.MapFS{}); err != nil {
			t.Fatal(err)
		}
		for name, page := range map[string]string{"comparison": compare.String(), "batch": batch.String(), "guide": guide.String(),
			"prediction": predictionPageText(t, predictionDocument(t))} {
			t.Run(name, func(t *testing.T) {
				p := openText(t, alive, page, view{})
				js[any](p, `document.querySelectorAll("details").forEach(d => d.open = true); null`)
				js[any](p, string(axe)+"; null")
				accessible(t, p, "", 10)
				p.show(view{dark: true})
				accessible(t, p, `runOnly: ["color-contrast"], `, 1)
				p.silent()
			})
		}
	})
	t.Run("prediction", func(t *testing.T) {
		d := predictionDocument(t)
		p := openText(t, alive, predictionPageText(t, d), view{width: 390, height: 800})
		if wide := js[float64](p, `document.documentElement.scrollWidth`); wide > 390 {
			t.Errorf("the page is %g px wide on a screen of 390", wide)
		}
		p.show(view{})
		b := p.box("predicted-w")
		p.mouse(input.DispatchMouseEventTypeMouseMoved, b.at(3000), (b.Top+b.Bottom)/2)
		curve := newPredictedCurve(d.Prediction)
		want := levelAt(curve.hz, curve.db, p.cursorHz())
		text := js[string](p, `document.querySelector("#cursor-values tbody td").textContent`)
		var got float64
		if _, err := fmt.Sscanf(strings.Replace(text, "−", "-", 1), "%g dB", &got); err != nil || math.Abs(got-want) > 0.05 {
			t.Errorf("level at the cursor is %q, want %.2f dB", text, want)
		}
		whole := p.frequencyLabels("predicted-w")
		if p.key("#cursor", "++"); p.frequencyLabels("predicted-w") == whole {
			t.Error("the figure does not zoom")
		}
		p.do(chromedp.Click(chromedp.CSS(`input[data-layer="band"]`)))
		if p.visible("#response .band") || !p.visible("#response .curve") {
			t.Error("the band of U95 is not switched off alone")
		}
		p.silent()
	})
	t.Run("paper", func(t *testing.T) {
		p := open(t, alive, d, view{dark: true})
		p.key("#cursor", "+++") // paper shows the whole range
		for name, paper := range map[string]chromedp.PaperSize{"A4": chromedp.PaperA4, "Letter": chromedp.PaperLetter} {
			file, err := chromedp.Run(p.ctx, chromedp.PrintToPDF(chromedp.PDFPaper(paper), chromedp.PDFPrintBackground()))
			if err != nil {
				t.Fatal(err)
			}
			onPaper(t, name, file, d)
		}
		p.silent()
	})
}

// accessible wants that axe-core, which p has loaded, finds no violation, and
// checks at least so many rules.
func accessible(t *testing.T, p *tab, rules string, least int) {
	t.Helper()
	result := js[struct {
		Passes     int
		Violations []struct{ ID, Impact, Help, Where string }
	}](p, `axe.run(document, {`+rules+`resultTypes: ["violations"]}).then(r => ({Passes: r.passes.length,
		Violations: r.violations.map(v => ({ID: v.id, Impact: v.impact, Help: v.help, Where: v.nodes.slice(0, 3).map(n => n.html.slice(0, 200)).join("; ")}))}))`)
	if result.Passes < least {
		t.Errorf("%d rules were checked", result.Passes)
	}
	for _, v := range result.Violations {
		t.Errorf("%s, %s: %s: %s", v.Impact, v.ID, v.Help, v.Where)
	}
}

// onPaper wants that a printed page says all, and nothing beyond its edges.
func onPaper(t *testing.T, name string, file []byte, d Document) {
	t.Helper()
	tool := exec.Command("pdftotext", "-bbox", "-", "-")
	tool.Stdin = bytes.NewReader(file)
	var complaint bytes.Buffer
	tool.Stderr = &complaint
	out, err := tool.Output()
	if err != nil {
		t.Fatalf("pdftotext of Poppler: %v %s", err, complaint.String())
	}
	pages := 0
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
				if number["xMin"] < 20 || number["xMax"] > width-20 || number["yMin"] < 20 || number["yMax"] > height-20 {
					t.Errorf("%s, page %d: a word at %v is at the edge of %g × %g pt", name, pages, number, width, height)
				}
			}
		case xml.CharData:
			if s := strings.TrimSpace(string(e)); s != "" {
				text.WriteString(s + " ")
			}
		}
	}
	if pages < 3 || pages > 12 {
		t.Errorf("%s: %d pages", name, pages)
	}
	for _, want := range []string{"Summary", "Response", "Takes", "Residuals", "Noise floor", "Distortion", "Circuit", "Where the uncertainty comes from",
		"Meter readings", "Bench and conditions", "Provenance", "10k 20k frequency, Hz", d.Program} {
		if !strings.Contains(text.String(), want) {
			t.Errorf("%s does not say %q", name, want)
		}
	}
	for _, unwanted := range []string{"Cursor", "Curves", "Closer"} {
		if strings.Contains(text.String(), unwanted) {
			t.Errorf("%s says %q: that is for the screen", name, unwanted)
		}
	}
}
