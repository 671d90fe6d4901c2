package label

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"coilsweep/fit"
	"coilsweep/report/browserrig"
	"coilsweep/report/qr"
)

func TestNew(t *testing.T) {
	known := func(value, u95 float64) fit.Quantity { return fit.Quantity{Value: value, U: u95 / 2, U95: u95} }
	r := fit.Result{Inductance: known(2.412, 0.02), Capacitance: known(173e-12, 2e-12), Resistance: known(7850, 40),
		CapacitanceCoil: known(108e-12, 3e-12), BareResonance: known(10184, 42), BareQ: known(8.02, 0.04)}
	day := time.Date(2026, 11, 28, 12, 0, 0, 0, time.UTC)
	l, err := New("Bridge <first>", day, r)
	if err != nil {
		t.Fatal(err)
	}
	want := "Bridge <first>\n2026-11-28\nL 2.412 ± 0.020 H\nC 108.0 ± 3.0 pF\nR 7.850 ± 0.040 kΩ\n" +
		"f 10.184 ± 0.042 kHz\nQ 8.020 ± 0.040"
	if l.Text() != want {
		t.Errorf("the label says\n%s\nwant\n%s", l.Text(), want)
	}
	r.Serial, r.Lot = "7", "spring"
	if l, err := New("Bridge", day, r); err != nil || l.Serial != "serial 7" ||
		!strings.HasPrefix(l.Text(), "Bridge\nserial 7, lot spring\n2026-") {
		t.Errorf("with a number the label says %q and\n%s (%v)", l.Serial, l.Text(), err)
	}
	r.Serial, r.Lot = "", ""
	// The numbers of a loaded coil say so, and what is not known is a dash.
	r.BareResonance, r.BareQ, r.CapacitanceCoil = fit.Unknown("x"), fit.Unknown("x"), fit.Unknown("x")
	r.Inductance = fit.Unknown("x")
	r.Takes = []fit.TakeResult{{Name: "bare", Used: true, Resonance: known(8056, 2), Q: known(3.92, 0.01)}}
	loaded, err := New("Bridge", day, r)
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range []string{"L –", "C 173.0 ± 2.0 pF", "f 8.0560 ± 0.0020 kHz", "f, Q, C with fixture"} {
		if !strings.Contains(loaded.Text(), line) {
			t.Errorf("the label lacks %q:\n%s", line, loaded.Text())
		}
	}
	var page strings.Builder
	if err := Write(&page, []Label{l, loaded}); err != nil {
		t.Fatal(err)
	}
	code, _ := qr.SVG(l.Text(), "The same as a QR code")
	for _, part := range []string{"Bridge &lt;first&gt;", code, "2026-11-28", "with fixture"} {
		if !strings.Contains(page.String(), part) {
			t.Errorf("the page lacks %.60s", part)
		}
	}
	if strings.Count(page.String(), "<article") != 2 {
		t.Error("the page has not two labels")
	}
}

// Nothing of a number is cut, or lies on the code, however many digits are known: on paper,
// and on the bench page.
func TestLabelFits(t *testing.T) {
	alive := browserrig.Start(t, time.Minute)
	known := func(value, u95 float64) fit.Quantity { return fit.Quantity{Value: value, U: u95 / 2, U95: u95} }
	r := fit.Result{Inductance: known(2.41236, 0.00022), Resistance: known(7850.2, 1.6),
		CapacitanceCoil: known(108.43e-12, 0.13e-12)}
	var labels []Label
	for _, u95 := range []float64{1200, 42, 2.1, 0.12, 0.011} {
		for _, hz := range []float64{888.888, 10184.2, 188888.8} {
			r.BareResonance, r.BareQ = known(hz, hz/1e4*u95), known(80.2345, 0.0022)
			l, err := New("Bridge", time.Date(2026, 11, 28, 12, 0, 0, 0, time.UTC), r)
			if err != nil {
				t.Fatal(err)
			}
			labels = append(labels, l)
		}
	}
	var paper strings.Builder
	if err := Write(&paper, labels); err != nil {
		t.Fatal(err)
	}
	sheet, err := Sheet(labels)
	if err != nil {
		t.Fatal(err)
	}
	style, err := os.ReadFile("../../cmd/coilsweep/internal/web/site/assets/style.css")
	if err != nil {
		t.Fatal(err)
	}
	longest := 0
	for name, text := range map[string]string{"paper": paper.String(),
		"bench page": "<!doctype html><style>" + string(style) + "</style>" + string(sheet)} {
		p := browserrig.OpenText(t, alive, text, browserrig.View{})
		if shots := os.Getenv("COILSWEEP_SHOTS"); shots != "" {
			picture, err := chromedp.Run(p.Ctx, chromedp.FullScreenshot(100))
			if err == nil {
				err = os.WriteFile(filepath.Join(shots, "label "+name+".png"), picture, 0o666)
			}
			if err != nil {
				t.Fatal(err)
			}
		}
		over := browserrig.JS[[]string](p, `[...document.querySelectorAll(".label dd")].filter(dd => {
			const range = document.createRange();
			range.selectNodeContents(dd);
			return range.getBoundingClientRect().right > dd.closest(".label-text").getBoundingClientRect().right;
		}).map(dd => dd.textContent)`)
		if len(over) > 0 {
			t.Errorf("%s: %q lie on the code or are cut", name, over)
		}
		longest = max(longest, browserrig.JS[int](p,
			`Math.max(...[...document.querySelectorAll(".label dd")].map(dd => dd.textContent.length))`))
		p.Close()
	}
	if longest < 22 {
		t.Errorf("the longest text has %d characters: this test tests nothing", longest)
	}
}
