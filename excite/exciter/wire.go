package exciter

import (
	"fmt"
	"math"
	"sort"
	"strconv"
	"strings"

	"coilsweep/excite/quantity"
)

// Wire is round enamelled copper wire.
type Wire struct {
	Name   string  // "AWG 38", "0.1 mm"
	BareM  float64 // diameter of the copper
	OuterM float64 // diameter over the enamel
}

// AWG is the wire of an American wire gauge number from -3 (0000) to 56 by the
// formula of ASTM B258 [2], d = 0.005 in 92^((36-n)/39), with the enamel of
// Enamelled. Tables made from diameters rounded to 0.1 mil differ from the
// formula by up to 3 % in resistance, and real wire by more.
func AWG(number int) (Wire, error) {
	if number < -3 || number > 56 {
		return Wire{}, fmt.Errorf("there is no AWG %d here: want −3 (0000) to 56", number)
	}
	w := Enamelled(0.005 * 0.0254 * math.Pow(92, float64(36-number)/39))
	w.Name = fmt.Sprintf("AWG %d", number)
	return w, nil
}

// Enamelled is wire of a bare diameter in m with enamel of grade 1, at its
// largest outer diameter after IEC 60317-0-1 [3]; between the standard's sizes
// the enamel is interpolated, outside 0.02 mm ... 1.6 mm extrapolated.
func Enamelled(bareM float64) Wire {
	return Wire{Name: strconv.FormatFloat(bareM*1e3, 'g', 4, 64) + " mm", BareM: bareM, OuterM: bareM + enamelM(bareM, 1)}
}

// ParseWire reads "AWG 38", "38 AWG" or a bare diameter such as "0.1mm".
func ParseWire(text string) (Wire, error) {
	upper := strings.ToUpper(text)
	if strings.Contains(upper, "AWG") {
		number, err := strconv.Atoi(strings.TrimSpace(strings.Replace(upper, "AWG", "", 1)))
		if err != nil {
			return Wire{}, fmt.Errorf("%q is not a wire: write for example \"AWG 38\" or \"0.1mm\"", text)
		}
		return AWG(number)
	}
	bare, err := quantity.ParseMetres(text)
	if err != nil {
		return Wire{}, fmt.Errorf("%q is not a wire: write for example \"AWG 38\" or \"0.1mm\"", text)
	}
	if bare < 5e-6 || bare > 5e-3 {
		return Wire{}, fmt.Errorf("a wire of %s is out of range: want 5 µm to 5 mm",
			quantity.Format(bare, quantity.Metre, 3))
	}
	return Enamelled(bare), nil
}

// AreaM2 is the cross-section of the copper.
func (w Wire) AreaM2() float64 { return math.Pi / 4 * w.BareM * w.BareM }

// OhmPerMetre is the resistance per metre at a temperature in °C [1].
func (w Wire) OhmPerMetre(celsius float64) float64 {
	return CopperOhmMetre20 * copperScale(celsius) / w.AreaM2()
}

// Grades are the insulation builds that WithGrade knows: 1 is thin, 2 thicker.
const Grades = 2

// WithGrade is the wire with the insulation build of a grade, 1 or 2, at its
// largest outer diameter after IEC 60317-0-1 [3].
func (w Wire) WithGrade(grade int) (Wire, error) {
	if grade < 1 || grade > Grades {
		return w, fmt.Errorf("there is no insulation build of grade %d here: want 1 or 2", grade)
	}
	w.OuterM = w.BareM + enamelM(w.BareM, grade)
	return w, nil
}

// Standard are the bare wire diameters of IEC 60317-0-1 [3] in m, rising.
func Standard() []float64 {
	var bare []float64
	for _, row := range builds {
		bare = append(bare, row[0]*1e-3)
	}
	return bare
}

// builds are the nominal diameter and the largest overall diameters of grades 1
// and 2 in mm: typical values by IEC 60317-0-1 [3], of which 0.100 -> 0.117 alone
// was checked in a wire maker's table. The insulation build matters for how many
// turns fit, not for the resistance.
var builds = [][1 + Grades]float64{
	{0.018, 0.022, 0.024}, {0.020, 0.024, 0.027}, {0.022, 0.027, 0.030},
	{0.025, 0.031, 0.034}, {0.028, 0.034, 0.038}, {0.032, 0.039, 0.043},
	{0.036, 0.044, 0.049}, {0.040, 0.049, 0.054}, {0.045, 0.055, 0.061},
	{0.050, 0.060, 0.066}, {0.056, 0.067, 0.074}, {0.063, 0.076, 0.083},
	{0.071, 0.084, 0.091}, {0.080, 0.094, 0.101}, {0.090, 0.105, 0.113},
	{0.100, 0.117, 0.125}, {0.112, 0.130, 0.139}, {0.125, 0.144, 0.154},
	{0.140, 0.160, 0.171}, {0.160, 0.182, 0.194}, {0.180, 0.204, 0.217},
	{0.200, 0.226, 0.239}, {0.224, 0.252, 0.266}, {0.250, 0.281, 0.297},
	{0.280, 0.312, 0.329}, {0.315, 0.349, 0.367}, {0.355, 0.392, 0.411},
	{0.400, 0.439, 0.459}, {0.450, 0.491, 0.513}, {0.500, 0.544, 0.566},
	{0.560, 0.606, 0.630}, {0.630, 0.679, 0.704}, {0.710, 0.762, 0.789},
	{0.800, 0.855, 0.884}, {0.900, 0.959, 0.989}, {1.000, 1.062, 1.094},
	{1.250, 1.316, 1.349}, {1.600, 1.674, 1.706},
}

// enamelM is the enamel of a grade on the diameter, a power law between the
// table's rows.
func enamelM(bareM float64, grade int) float64 {
	mm := bareM * 1e3
	i := sort.Search(len(builds), func(i int) bool { return builds[i][0] >= mm })
	i = min(max(i, 1), len(builds)-1)
	low, high := builds[i-1], builds[i]
	part := math.Log(mm/low[0]) / math.Log(high[0]/low[0])
	return 1e-3 * math.Exp((1-part)*math.Log(low[grade]-low[0])+part*math.Log(high[grade]-high[0]))
}
