package page

import (
	"bytes"
	"context"
	"html"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"coilsweep/capture"
	"coilsweep/capture/instrument"
	"coilsweep/fit"
	"coilsweep/report/browserrig"
	"coilsweep/report/internal/invented"
)

// certified is a coil of which all is stated: four instruments, one of them overdue.
func certified() CoilDocument {
	d := inventedDocument(invented.ThreeLoads, 60)
	d.Coil.Serial, d.Coil.Lot, d.Coil.Customer = "2026-014", "spring run", "A. <Player>"
	d.Coil.Winding = &capture.Winding{Wire: "0.063mm", Turns: 8000}
	d.Coil.DCRMeter = &instrument.Instrument{Name: "multimeter, 6 digits", Serial: "12", Certificate: "K-1",
		CalibrationDue: instrument.DayOf(invented.Day.AddDate(0, 6, 0))}
	for i := range d.Takes {
		d.Takes[i].Operator, d.Takes[i].Bench.Source = "A. Winder", "soundcard"
		d.Takes[i].Instruments = []instrument.Used{
			{Role: instrument.Card, Instrument: instrument.Instrument{Name: "sound card, 24 bit", Serial: "77"}},
			{Role: instrument.PartsMeter, Instrument: instrument.Instrument{Name: "bridge", Serial: "5",
				Certificate: "K-2", CalibrationDue: instrument.DayOf(invented.Day.AddDate(0, -1, 0))}},
		}
	}
	d.Result.About = fit.NewAbout(d.Coil, d.Takes)
	d.Result.Warnings = append(d.Result.Warnings, d.Result.Lapses()...)
	return d
}

func certificateText(t testing.TB, d CoilDocument) string {
	t.Helper()
	var b bytes.Buffer
	if err := Certificate(&b, d); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// certificateSays is a certificate as its reader reads it, in one line.
func certificateSays(t testing.TB, d CoilDocument) string {
	text := regexp.MustCompile(`(?s)<style>.*?</style>|<[^>]*>`).ReplaceAllString(certificateText(t, d), " ")
	return strings.Join(strings.Fields(strings.ReplaceAll(html.UnescapeString(text), "\u00a0", " ")), " ")
}

func TestCertificate(t *testing.T) {
	said := certificateSays(t, certified())
	for _, want := range []string{
		"serial number 2026-014", "lot spring run", "customer A. <Player>", "turns, as counted 8000",
		"Inductance L 2.410 ± 0.020 H 0.81 % at low frequency", "takes made by A. Winder", "21.5 °C",
		"DC resistance, as read 7.85k@22C 0.5%", "Sound card sound card, 24 bit 77 not stated not stated not stated",
		"Meter of the added parts bridge 5 K-2 20", "not valid any more: see the warnings",
		"Meter of the DC resistance multimeter, 6 digits 12 K-1 20", "valid on the days of the takes",
		"No valid calibration is stated for: sound card, meter of the added parts.",
		"coverage factor k = 1.96", "JCGM 100:2008", "not a certificate of an accredited laboratory",
		"the meter of the added parts (bridge, serial 5) was due for calibration on", "measured by A. Winder",
		"right within ±50 ppm (limit)",
		"Added C 220 pF 220 pF 1% 220.0 ± 2.5 pF", "DC resistance 7.85k@22C 0.5% 7.850 ±", "SHA-256 of the recording behind each take",
	} {
		if !strings.Contains(said, want) {
			t.Errorf("the certificate does not say %q", want)
		}
	}
	if strings.Contains(said, "simulated") {
		t.Error("a real coil is said to be simulated")
	}
	if first, second := certificateText(t, certified()), certificateText(t, certified()); first != second {
		t.Error("the same document gives another page")
	}
	// A take that the fit left out has no part in it.
	d := certified()
	d.Result.Takes[1].Used = false
	if said := certificateSays(t, d); !strings.Contains(said, "2 of 3 takes used") ||
		strings.Contains(said, "plus 220 pF 220 pF") {
		t.Error("a take that was left out is among the results")
	}
}

// What nobody stated is said to be missing, and what is not known has its reason.
func TestCertificateOfLittle(t *testing.T) {
	d := CoilDocument{Result: fit.Result{Coil: "neck", Inductance: fit.Unknown("one take alone does not tell"),
		BareResonance: fit.Unknown("nothing was fitted"), Takes: []fit.TakeResult{{Name: "bare", Used: true}}},
		Takes: []capture.Take{{Name: "bare", Bench: capture.Bench{Source: "virtual"}}}}
	said := certificateSays(t, d)
	for _, want := range []string{"serial number not stated", "customer not stated", "takes made on not stated",
		"takes made by not stated", "temperature of the coil not stated", "DC resistance, as read not stated",
		"Sound card not stated", "one take alone does not tell", "come from the simulated bench",
		"stated for: sound card."} {
		if !strings.Contains(said, want) {
			t.Errorf("the certificate does not say %q:\n%s", want, said)
		}
	}
	if strings.Contains(said, "NaN") || strings.Contains(said, "0001") {
		t.Error("the certificate shows what is not known")
	}
}

// On paper it takes two sides of A4 at most.
func browserCertificate(t *testing.T, alive context.Context, _ CoilDocument) {
	p := tab{browserrig.OpenText(t, alive, certificateText(t, certified()), browserrig.View{Width: 390, Height: 800})}
	p.Fits("the page", 390)
	p.Show(browserrig.View{})
	file, err := chromedp.Run(p.Ctx, chromedp.PrintToPDF(chromedp.PDFPaper(chromedp.PaperA4),
		chromedp.PDFPrintBackground()))
	if err != nil {
		t.Fatal(err)
	}
	if pages, said := onPaper(t, "A4", file); pages > 2 || !strings.Contains(said, "name and signature") {
		t.Errorf("%d pages that say %s", pages, said)
	}
	if dir := os.Getenv("COILSWEEP_SHOTS"); dir != "" {
		if err := os.WriteFile(filepath.Join(dir, "certificate.pdf"), file, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	p.Silent()
}
