// Package fit holds results: the circuit that explains the takes of a coil with
// its uncertainty, and which values the takes leave unknown. Package joint makes
// a Result; Propagate carries the fits of coils to what follows from their
// circuits.
package fit

import (
	"encoding/json"
	"fmt"
	"io"
)

// ResultSchema names the format of Result.
const ResultSchema = "coilsweep.result/1"

// Result is result.json: the result of the takes of one coil. SI units, named in
// the keys.
type Result struct {
	Schema  string `json:"schema"`
	Program string `json:"program"`
	Coil    string `json:"coil"`
	About
	Takes       []TakeResult `json:"takes"`
	Model       Model        `json:"model"`
	Inductance  Quantity     `json:"inductance_h"`
	Capacitance Quantity     `json:"capacitance_f"`
	Resistance  Quantity     `json:"resistance_ohm"`
	// CapacitanceCoil is Capacitance with the fixture taken off.
	CapacitanceCoil Quantity `json:"capacitance_coil_f"`
	Eddy            []Eddy   `json:"eddy"`
	// Branch is the winding branch at BranchHz and at the resonance of the take
	// with nothing added; empty where nothing was fitted.
	Branch []BranchPoint `json:"branch"`
	// CoverCorner is the corner of the cover's shielding, where one was found.
	CoverCorner *Quantity `json:"cover_corner_hz,omitempty"`
	// BareResonance and BareQ are those of the coil with its own C alone.
	BareResonance Quantity `json:"bare_resonance_hz"`
	BareQ         Quantity `json:"bare_q"`
	// Covariance of the quantities named in Order, in SI units.
	Covariance *Covariance   `json:"covariance,omitempty"`
	Line       *Line         `json:"line,omitempty"`
	Parts      []Part        `json:"parts,omitempty"`
	Budget     []Budget      `json:"budget,omitempty"`
	Advice     []Advice      `json:"advice,omitempty"`
	MonteCarlo *MonteCarlo   `json:"montecarlo,omitempty"`
	Basis      []string      `json:"basis"`
	Meter      []MeterResult `json:"meter"`
	// Contradicted names what was stated and the takes contradict; the first warnings
	// explain it.
	Contradicted []string `json:"contradicted,omitempty"`
	Warnings     []string `json:"warnings"`
	// Record lists the sources of the result.
	Record *Record `json:"record,omitempty"`
}

// TakeResult is the result of one take.
type TakeResult struct {
	Name      string   `json:"name"`
	AddedC    float64  `json:"added_c_f"`
	AddedR    *float64 `json:"added_r_ohm"`
	Resonance Quantity `json:"resonance_hz"`
	LC        Quantity `json:"lc_hz"`
	Peak      Quantity `json:"peak_hz"`
	PeakDB    Quantity `json:"peak_db"`
	Q         Quantity `json:"q"`
	// WidthHz is the width between the half-power points about the peak.
	WidthHz Quantity `json:"width_hz"`
	SNRdB   float64  `json:"snr_db"`
	Flags   []string `json:"flags"`
	// Used is false where the take was left out of the fit.
	Used bool `json:"used"`
	// AudioSHA256 is the checksum of the audio behind the take.
	AudioSHA256 string `json:"audio_sha256,omitempty"`
	// Curve is the fitted response on the grid of the measured one.
	Curve *Curve `json:"-"`
}

// Curve is a take's measured and fitted response for plots and response.csv:
// magnitude in dB over the low-frequency plateau, phase in degrees, delay and
// polarity taken off. Fitted columns are nil where there is no fit.
type Curve struct {
	FrequencyHz    []float64
	MagnitudeDB    []float64
	PhaseDeg       []float64
	MagnitudeU95DB []float64 // of the measured points
	PhaseU95Deg    []float64 // of the measured points
	NoiseFloorDB   []float64
	FitMagnitudeDB []float64
	FitPhaseDeg    []float64
	FitU95DB       []float64    // band of the fitted curve
	FitPhaseU95Deg []float64    // and of its phase
	Residual       []complex128 // (measured - fitted)/u, u per component
	Harmonic2DB    []float64
	Harmonic3DB    []float64
	// Size of the noise in the harmonics, as they are.
	Harmonic2FloorDB, Harmonic3FloorDB []float64
}

// Model is the circuit that was fitted, and how well it fits.
type Model struct {
	Name string `json:"name"`
	// Chi2Reduced is that of how the takes differ, where they share a sound card:
	// what is common to them may be the card's.
	Chi2Reduced float64 `json:"chi2_reduced"`
	DoF         int     `json:"dof"`
	// Probability is that of what the model says of eddy currents, against the
	// other models tried: covers and dielectric loss are added up.
	Probability float64 `json:"probability"`
	Tried       []Tried `json:"tried"`
}

// Tried is one model that was tried.
type Tried struct {
	Name       string  `json:"name"`
	Parameters int     `json:"parameters"`
	BIC        float64 `json:"bic"`
	// Probability against the other models tried, all of them taken as equally
	// likely before the takes.
	Probability float64 `json:"probability"`
	Chi2Reduced float64 `json:"chi2_reduced"`
	// RunsZ is the whiteness of the residuals over frequency: the runs test's
	// normal score.
	RunsZ float64 `json:"runs_z"`
	Note  string  `json:"note,omitempty"`
}

// Eddy is one term of the eddy-current loss.
type Eddy struct {
	Share  Quantity `json:"share"`
	Corner Quantity `json:"corner_hz"`
	Form   string   `json:"form,omitempty"` // "ring" or "cylinder"
	// If is what must hold for the entry to mean anything, Weight the probability
	// of that.
	If     string  `json:"if,omitempty"`
	Weight float64 `json:"weight,omitempty"`
}

// Covariance is a covariance matrix of named quantities in SI units.
type Covariance struct {
	Order  []string    `json:"order"`
	Matrix [][]float64 `json:"matrix"`
}

// Line is 1/w^2 (w the LC angular frequency) against added C.
type Line struct {
	Points    []LinePoint `json:"points"`
	Slope     Quantity    `json:"slope_h"`      // L
	Intercept Quantity    `json:"intercept_s2"` // L C
	// AxisCrossing is -C: where the line meets 1/w^2 = 0.
	AxisCrossing Quantity `json:"axis_crossing_f"`
}

// LinePoint is one take on the line.
type LinePoint struct {
	Take       string  `json:"take"`
	AddedC     float64 `json:"added_c_f"`
	InverseW2  float64 `json:"inverse_w2_s2"`
	UInverseW2 float64 `json:"u_inverse_w2_s2"`
}

// Part is a known part and how far the fit moved it.
type Part struct {
	What    string  `json:"what"`
	Unit    string  `json:"unit"` // "ohm", "F" or "H"
	Nominal float64 `json:"nominal"`
	U       float64 `json:"u"`
	Fitted  float64 `json:"fitted"`
	Pull    float64 `json:"pull"` // (fitted-nominal)/u
	Suspect bool    `json:"suspect,omitempty"`
}

// Budget is the uncertainty budget of one quantity: shares of u^2 in percent.
type Budget struct {
	Quantity string       `json:"quantity"`
	Shares   []BudgetLine `json:"shares"`
	// Parts are common to coils that were measured with the same pieces: the
	// added parts, the fixture, and the scale of the meter behind them; the DC
	// resistance to the states of one coil.
	Parts []Contribution `json:"parts,omitempty"`
}

// Contribution is the part of a quantity's uncertainty that a known part brings,
// in its unit: the quantity's sensitivity to the stated value times the u of
// that, with its sign (c_i u(x_i) of JCGM 100:2008, 5.1.3).
type Contribution struct {
	What string  `json:"what"` // as Part has it
	U    float64 `json:"u"`
}

// Sources of uncertainty that a further sweep or another model may lower, as
// BudgetLine names them; and the sound card's clock.
const (
	NoiseSource = "noise"
	ModelSource = "model"
	WeakSource  = "weak prior"
	ClockSource = "clock"
)

// BudgetLine is one source of uncertainty.
type BudgetLine struct {
	Source  string  `json:"source"`
	Percent float64 `json:"percent"`
}

// Advice is a next measurement and its benefit.
type Advice struct {
	Text     string  `json:"text"`
	AddedC   float64 `json:"added_c_f,omitempty"`
	AddedR   float64 `json:"added_r_ohm,omitempty"`
	Part     string  `json:"part,omitempty"` // at hand, as it is written in parts.toml
	Quantity string  `json:"quantity"`
	// U95 of the quantity in percent of it, now (0: unknown) and then.
	NowPercent  float64 `json:"U95_now_percent,omitempty"`
	ThenPercent float64 `json:"U95_then_percent"`
}

// MonteCarlo is the propagation of distributions by JCGM 101:2008: the data are
// drawn with their noise and the sound card's ripple, the clock and the known
// parts from their stated distribution (rectangular for a tolerance, normal for
// an expanded uncertainty), and the fit is repeated with the chosen model.
type MonteCarlo struct {
	Trials int `json:"trials"`
	// Failed counts trials in which the fit found no minimum.
	Failed     int                  `json:"failed"`
	Quantities []MonteCarloQuantity `json:"quantities"`
}

// MonteCarloQuantity is the distribution of one quantity.
type MonteCarloQuantity struct {
	Name  string  `json:"name"` // key of result.json; "resonance_hz of NAME" for a take
	Mean  float64 `json:"mean"`
	U     float64 `json:"u"`
	Low   float64 `json:"low"`  // 2.5 % quantile
	High  float64 `json:"high"` // 97.5 % quantile
	Known int     `json:"known"`
}

// Encode writes result.json: indented by two spaces, in a stable order, ended by
// a line feed. Lists without entries are written as [], so that a reader need not
// ask.
func (r Result) Encode(w io.Writer) error {
	if r.Schema == "" {
		r.Schema = ResultSchema
	}
	takes := make([]TakeResult, len(r.Takes))
	copy(takes, r.Takes)
	for i := range takes {
		takes[i].Flags = orEmpty(takes[i].Flags)
	}
	r.Takes = takes
	r.Model.Tried = orEmpty(r.Model.Tried)
	r.Eddy = orEmpty(r.Eddy)
	r.Branch = orEmpty(r.Branch)
	r.Basis = orEmpty(r.Basis)
	r.Meter = orEmpty(r.Meter)
	r.Warnings = orEmpty(r.Warnings)
	encoder := json.NewEncoder(w)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	if err := encoder.Encode(r); err != nil {
		return fmt.Errorf("result of coil %q as JSON: %w", r.Coil, err)
	}
	return nil
}

func orEmpty[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}
