package page

import (
	"bytes"
	"fmt"
	"html"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"coilsweep/report/browserrig"
	"coilsweep/report/internal/invented"
	"coilsweep/report/sound"
)

func hearingPageText(t testing.TB, l *sound.Listening) string {
	t.Helper()
	var b bytes.Buffer
	if err := Hearing(&b, HearingDocument{Listening: *l, Harness: predictionDocument(t).Harness, Coils: invented.Coils(2,
		20), Made: invented.Day, Program: "coilsweep test"}); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestHearing(t *testing.T) {
	l := invented.Listening(t)
	page := hearingPageText(t, l)
	if scripts := ownOnly(t, page); scripts != 1 {
		t.Errorf("%d scripts", scripts)
	}
	policyMatches(t, page)
	said := strings.ReplaceAll(html.UnescapeString(page), "\u00a0", " ")
	for _, want := range []string{
		"At equal loudness, </script>bridge has 9.5 dB less than neck in the octave around 8 kHz",
		"Below what the measurement can tell: the difference at 63 Hz, 125 Hz, 250 Hz and 500 Hz.",
		"The recording has nothing at 16 kHz.", "its response is taken out.", "−23.0 LUFS (ITU-R BS.1770-5)",
		"Start quiet", "cable 470p: a tolerance of 10 % is assumed", "media-src data:;"} {
		if !strings.Contains(said, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if n := strings.Count(page, "<audio controls"); n != 3 {
		t.Errorf("%d sounds", n)
	}
	// Of a long recording the page plays the beginning.
	for range 5 {
		for _, s := range []*sound.Sound{&l.A, &l.B, &l.Pair.Difference} {
			s.Samples = append(s.Samples, s.Samples...)
		}
	}
	if long := hearingPageText(t, l); len(long) > 5<<20 || !strings.Contains(long, "plays the first 10 s of 48 s") {
		t.Errorf("%d bytes for 48 s", len(long))
	}
}

// The pages about a coil, a comparison and a prediction play sounds where they are given
// some, beside their figures.
func TestListeningInPages(t *testing.T) {
	l := invented.Listening(t)
	d := inventedDocument(invented.ThreeLoads, 60)
	d.Listening = l
	prediction := predictionDocument(t)
	prediction.Listening = l
	var comparison bytes.Buffer
	if err := Comparison(&comparison, ComparisonDocument{Comparison: invented.Compared(t, invented.Coils(2, 60)),
		SortKey: "given", Listening: l}); err != nil {
		t.Fatal(err)
	}
	for name, page := range map[string]string{"coil": pageText(t, d), "comparison": comparison.String(),
		"prediction": predictionPageText(t, prediction)} {
		if scripts := ownOnly(t, page); scripts != 3 {
			t.Errorf("%s: %d scripts, want the data, the figures' and the sounds'", name, scripts)
		}
		policyMatches(t, page)
		if strings.Count(page, "<audio controls") != 3 || !strings.Contains(page, `<li><a href="#listen">`) ||
			!strings.Contains(page, `<section id="listen"`) {
			t.Errorf("%s: nothing to hear", name)
		}
	}
}

// ears notes what a page's sounds do, before its script runs.
const ears = `<script>
	window.starts = 0; window.gains = [];
	const start = AudioBufferSourceNode.prototype.start;
	AudioBufferSourceNode.prototype.start = function (...a) { window.starts++; return start.apply(this, a); };
	const Gain = window.GainNode;
	window.GainNode = class extends Gain { constructor(...a) { super(...a); window.gains.push(this); } };
</script>`

// One of the sounds is heard at a time, keys change between them while all go on, and
// what is heard keeps its level through the change.
func TestHearingInBrowser(t *testing.T) {
	browser := browserrig.Start(t, 2*time.Minute)
	text := hearingPageText(t, invented.Listening(t))
	plain := browserrig.OpenText(t, browser, text, browserrig.View{NoScript: true})
	n := browserrig.JS[int](plain, `[...document.querySelectorAll("audio")].filter(a => a.offsetParent).length`)
	if n != 3 || plain.Visible("form.player") {
		t.Errorf("without scripts: %d sounds, player shown: %v", n, plain.Visible("form.player"))
	}
	plain.Close()

	tab := browserrig.OpenText(t, browser, text, browserrig.View{})
	tab.Accessible("", 15)
	if tab.Visible(".tracks") || !tab.Visible("form.player") {
		t.Error("the player is not shown in place of the sounds")
	}
	tab.Silent()
	tab.Close()

	// The policy lets no other script in: this page has none.
	policy := strings.Index(text, `<meta http-equiv="Content-Security-Policy"`)
	heard := text[:policy] + ears + text[policy+strings.Index(text[policy:], ">")+1:]
	tab = browserrig.OpenText(t, browser, heard, browserrig.View{})
	wait := func(what, condition string) {
		t.Helper()
		if !browserrig.JS[bool](tab, `(async () => { for (let i = 0; i < 200; i++) { if (`+condition+`) return true;
			await new Promise(r => setTimeout(r, 20)); } return false; })()`) {
			t.Fatalf("%s: %s, gains %s", what, condition,
				browserrig.JS[string](tab, `JSON.stringify(gains.map(g => g.gain.value))`))
		}
	}
	only := func(n int) string {
		return fmt.Sprintf(`[0, 1, 2].every(i => Math.abs(gains[i + 1].gain.value - (i === %d)) < 1e-3)`, n)
	}
	tab.Do(chromedp.Click(chromedp.CSS("[data-do=play]")))
	wait("play", `gains.length === 4 && `+only(0))
	// It starts 24 dB below the sounds' own level, which is quiet already.
	want := math.Pow(10, -24.0/20)
	wait("starts quiet", fmt.Sprintf(`Math.abs(gains[0].gain.value - %g) < 1e-3`, want))
	if peak := browserrig.JS[float64](tab, `gains[0].gain.value`); peak > want+1e-3 {
		t.Errorf("the volume is %g", peak)
	}
	for _, key := range []struct {
		press string
		sound int
	}{{"2", 1}, {"3", 2}, {"1", 0}, {"2", 1}} {
		least := browserrig.JS[float64](tab, `new Promise(done => {
			let least = 1, from = performance.now();
			document.dispatchEvent(new KeyboardEvent("keydown", { key: "`+key.press+`", bubbles: true }));
			const look = () => {
				least = Math.min(least, gains.slice(1).reduce((sum, g) => sum + g.gain.value, 0));
				performance.now() - from < 150 ? setTimeout(look, 1) : done(least);
			};
			look();
		})`)
		if least < 0.98 {
			t.Errorf("key %s: a gap, the sounds' share falls to %g", key.press, least)
		}
		wait("key "+key.press, only(key.sound))
	}
	if n := browserrig.JS[int](tab, `starts`); n != 3 {
		t.Errorf("%d starts of three sounds: a change begins them anew", n)
	}
	tab.Do(chromedp.Click(chromedp.CSS("[data-do=play]")))
	wait("stop", `gains[0].gain.value < 1e-3`)
	tab.Silent()
}
