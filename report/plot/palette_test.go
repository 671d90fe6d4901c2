package plot

import (
	"fmt"
	"math"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

type colour [3]float64 // linear RGB, 0 … 1

// parse reads #rrggbb by the transfer function of IEC 61966-2-1 (sRGB).
func parse(t *testing.T, hex string) colour {
	t.Helper()
	var c colour
	for i := range c {
		v, err := strconv.ParseUint(hex[1+2*i:3+2*i], 16, 8)
		if err != nil {
			t.Fatal(err)
		}
		s := float64(v) / 255
		if c[i] = s / 12.92; s > 0.04045 {
			c[i] = math.Pow((s+0.055)/1.055, 2.4)
		}
	}
	return c
}

func (c colour) luminance() float64 { return 0.2126*c[0] + 0.7152*c[1] + 0.0722*c[2] }

// contrast is the contrast ratio of WCAG 2.2 (W3C Recommendation 2023).
func contrast(a, b colour) float64 {
	x, y := a.luminance()+0.05, b.luminance()+0.05
	return math.Max(x, y) / math.Min(x, y)
}

// seen is how c looks with a missing kind of cones: G. M. Machado, M. M.
// Oliveira and L. A. F. Fernandes, IEEE Trans. Vis. Comput. Graph. 15(6),
// 2009, matrices for severity 1.0 (from memory).
var deficiencies = map[string][3][3]float64{
	"full colour vision": {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}},
	"protanopia": {{0.152286, 1.052583, -0.204868}, {0.114503, 0.786281, 0.099216},
		{-0.003882, -0.048116, 1.051998}},
	"deuteranopia": {{0.367322, 0.860646, -0.227968}, {0.280085, 0.672501, 0.047413},
		{-0.011820, 0.042940, 0.968881}},
	"tritanopia": {{1.255528, -0.076749, -0.178779}, {-0.078411, 0.930809, 0.147602},
		{0.004733, 0.691367, 0.303900}},
}

func (c colour) through(m [3][3]float64) colour {
	var out colour
	for i := range out {
		out[i] = math.Min(math.Max(m[i][0]*c[0]+m[i][1]*c[1]+m[i][2]*c[2], 0), 1)
	}
	return out
}

// distance in OKLab (B. Ottosson, 2020; CSS Color Module Level 4).
func distance(a, b colour) float64 {
	lab := func(c colour) [3]float64 {
		l := math.Cbrt(0.4122214708*c[0] + 0.5363325363*c[1] + 0.0514459929*c[2])
		m := math.Cbrt(0.2119034982*c[0] + 0.6806995451*c[1] + 0.1073969566*c[2])
		s := math.Cbrt(0.0883024619*c[0] + 0.2817188376*c[1] + 0.6299787005*c[2])
		return [3]float64{0.2104542553*l + 0.7936177850*m - 0.0040720468*s, 1.9779984951*l - 2.4285922050*m +
			0.4505937099*s, 0.0259040371*l + 0.7827717662*m - 0.8086757660*s}
	}
	p, q := lab(a), lab(b)
	return math.Sqrt((p[0]-q[0])*(p[0]-q[0]) + (p[1]-q[1])*(p[1]-q[1]) + (p[2]-q[2])*(p[2]-q[2]))
}

// schemes are the palettes by name: light first in the file, then dark.
func schemes(t *testing.T) map[string]map[string]string {
	t.Helper()
	light, dark, ok := strings.Cut(Palette, "@media")
	if !ok {
		t.Fatal("the palette has no dark part")
	}
	out := map[string]map[string]string{}
	for name, css := range map[string]string{"light": light, "dark": dark} {
		out[name] = map[string]string{}
		for _, m := range regexp.MustCompile(`--([a-z0-9-]+): (#[0-9a-f]{6})`).FindAllStringSubmatch(css, -1) {
			out[name][m[1]] = m[2]
		}
	}
	return out
}

func TestContrastRatio(t *testing.T) {
	if got := contrast(parse(t, "#000000"), parse(t, "#ffffff")); math.Abs(got-21) > 1e-9 {
		t.Errorf("black on white has %g, WCAG says 21", got)
	}
	// The grey that just misses 4.5 : 1 on white (common practice).
	if got := contrast(parse(t, "#777777"), parse(t, "#ffffff")); math.Abs(got-4.48) > 0.005 {
		t.Errorf("#777777 on white has %.3f, want 4.48", got)
	}
}

// Text has 4.5 : 1 (WCAG 2.2, 1.4.3), what is drawn 3 : 1 (1.4.11).
func TestContrast(t *testing.T) {
	for name, p := range schemes(t) {
		for _, pair := range [][2]string{{"ink", "paper"}, {"ink", "desk"}, {"quiet", "paper"}, {"quiet", "desk"},
			{"quiet", "expected"}, {"ink", "expected"},
			{"accent", "paper"}, {"accent", "desk"}, {"alarm", "paper"}, {"alarm", "alarm-paper"},
			{"ink", "alarm-paper"}} {
			if got := contrast(parse(t, p[pair[0]]), parse(t, p[pair[1]])); got < 4.5 {
				t.Errorf("%s: %s on %s has %.2f, below 4.5", name, pair[0], pair[1], got)
			}
		}
		for n := range Styles {
			key := fmt.Sprintf("s%d", n)
			if got := contrast(parse(t, p[key]), parse(t, p["paper"])); got < 3 {
				t.Errorf("%s: %s has %.2f on paper, below 3", name, key, got)
			}
		}
	}
}

// Curves differ also for eyes that lack a kind of cones: 0.05 in OKLab is
// about two and a half times what is just seen side by side.
func TestCurveColoursDiffer(t *testing.T) {
	for name, p := range schemes(t) {
		for eye, m := range deficiencies {
			least, pair := math.Inf(1), ""
			for i := range Styles {
				for j := range i {
					a, b := fmt.Sprintf("s%d", i), fmt.Sprintf("s%d", j)
					if d := distance(parse(t, p[a]).through(m), parse(t, p[b]).through(m)); d < least {
						least, pair = d, a+" and "+b
					}
				}
			}
			t.Logf("%s, %s: nearest %s, %.3f", name, eye, pair, least)
			if least < 0.05 {
				t.Errorf("%s, %s: %s are only %.3f apart", name, eye, pair, least)
			}
		}
	}
}

// In greyscale dash and shape tell curves apart: all of them differ.
func TestStylesDifferWithoutColour(t *testing.T) {
	for i := range Styles {
		for j := range i {
			if Dash(i) == Dash(j) || Marker(i) == Marker(j) {
				t.Errorf("styles %d and %d share a dash or a marker", i, j)
			}
		}
	}
}

// The design page quotes the palette and its contrasts; they are these.
func TestDesignPageQuotesThePalette(t *testing.T) {
	page, err := os.ReadFile("../DESIGN.md")
	if err != nil {
		t.Fatal(err)
	}
	p := schemes(t)
	for n := range Styles {
		key := fmt.Sprintf("s%d", n)
		var cells []string
		for _, scheme := range []string{"light", "dark"} {
			hex := p[scheme][key]
			cells = append(cells, fmt.Sprintf("`%s` | %.1f", hex,
				contrast(parse(t, hex), parse(t, p[scheme]["paper"]))))
		}
		if want := strings.Join(cells, " | "); !strings.Contains(string(page), want) {
			t.Errorf("DESIGN.md lacks, for %s: %s", key, want)
		}
	}
	for _, key := range []string{"ink", "quiet", "accent", "alarm"} {
		for _, scheme := range []string{"light", "dark"} {
			hex := p[scheme][key]
			if want := fmt.Sprintf("`%s` | %.1f", hex,
				contrast(parse(t, hex), parse(t, p[scheme]["paper"]))); !strings.Contains(string(page), want) {
				t.Errorf("DESIGN.md lacks, for %s in %s: %s", key, scheme, want)
			}
		}
	}
}
