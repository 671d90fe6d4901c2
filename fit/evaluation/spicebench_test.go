package evaluation_test

import (
	"bufio"
	"bytes"
	"context"
	"encoding/csv"
	"flag"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/interp"

	"coilsweep/capture"
	"coilsweep/capture/record"
	"coilsweep/capture/virtual"
)

const spiceDir = "../../testdata/spice"

var updateSpice = flag.Bool("update", false, "write what ngspice says anew")

// spiceLoads are the added capacitors as they are marked, and what they are in
// the netlist: within their 1 %.
var spiceLoads = []struct{ marked, truly string }{{"", "1e-18"}, {"470p 1%", "466.9p"}}

// The resistances of the exciter's loop in the netlist; 37 ohm of them are not
// the series resistor's.
const (
	loop2k  = "1963"
	loop100 = "63"
)

// spiceColumns are the responses in recording.csv, as the netlist announces
// them.
func spiceColumns() []string {
	var columns []string
	for _, ohm := range []string{loop100, loop2k} {
		for _, l := range spiceLoads {
			columns = append(columns, coilColumn(ohm, l.truly))
		}
	}
	return append(columns, "cable", "rolled")
}

func coilColumn(ohm, farad string) string { return "coil " + ohm + " " + farad }

// spiceResponse is a response H that ngspice computed, between its points by
// splines of f/H over the logarithm of f: that has no peak.
type spiceResponse struct {
	lowHz  float64
	re, im interp.NotAKnotCubic
}

func newSpiceResponse(t testing.TB, hz []float64, h []complex128) *spiceResponse {
	t.Helper()
	r := &spiceResponse{lowHz: hz[0]}
	var x, re, im []float64
	for i, v := range h {
		inverse := complex(hz[i], 0) / v
		x, re, im = append(x, math.Log(hz[i])), append(re, real(inverse)), append(im, imag(inverse))
	}
	for _, err := range []error{r.re.Fit(x, re), r.im.Fit(x, im)} {
		if err != nil {
			t.Fatal(err)
		}
	}
	return r
}

// at is the response at hz; below the table, where a sweep has nothing, 0.
func (r *spiceResponse) at(hz float64) complex128 {
	if hz < r.lowHz {
		return 0
	}
	x := math.Log(hz)
	return complex(hz, 0) / complex(r.re.Predict(x), r.im.Predict(x))
}

// spiceTable is testdata/spice/recording.csv.
type spiceTable struct {
	hz []float64
	h  map[string][]complex128
}

// readRows reads a table of testdata/spice without its head.
func readRows(t testing.TB, name string) [][]string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(spiceDir, name))
	if err != nil {
		t.Fatal(err)
	}
	return readText(t, string(text))
}

func readText(t testing.TB, text string) [][]string {
	t.Helper()
	r := csv.NewReader(strings.NewReader(text))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
}

func readTable(t testing.TB, name string) [][]float64 {
	t.Helper()
	var table [][]float64
	for _, row := range readRows(t, name) {
		var numbers []float64
		for _, cell := range row {
			numbers = append(numbers, figureIn(t, cell))
		}
		table = append(table, numbers)
	}
	return table
}

func figureIn(t testing.TB, text string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

func readSpiceTable(t testing.TB) spiceTable {
	t.Helper()
	table := spiceTable{h: map[string][]complex128{}}
	for _, row := range readTable(t, "recording.csv") {
		table.hz = append(table.hz, row[0])
		for i, column := range spiceColumns() {
			table.h[column] = append(table.h[column], complex(row[1+2*i], row[2+2*i]))
		}
	}
	return table
}

// spiceBench is a bench whose physics is that of ngspice: what is played goes
// through the response that ngspice computed of sound card, exciter and coil, by
// Fourier transform and so as exactly as that, and the faults of a sound card
// are put upon the samples.
type spiceBench struct {
	responses map[string]*spiceResponse
	clip      interp.NotAKnotCubic // V out of V in
	poles     map[string]complex128

	loop     string // series resistor in ohm
	driftPPM float64
	humDB    float64 // over the plateau; 0: none
	rollOff  bool
	lost     int  // samples, in the last repeat
	knock    bool // something knocks in the second sweep, into the rails
	inverted bool
	gain     float64 // of the input, so that the first take peaks at spicePeak
	clipsAtV float64 // what full scale is at the input's diodes in V; 0: none
}

func newSpiceBench(t testing.TB) *spiceBench {
	t.Helper()
	s := &spiceBench{responses: map[string]*spiceResponse{}, poles: map[string]complex128{}, loop: loop2k}
	table := readSpiceTable(t)
	for name, h := range table.h {
		s.responses[name] = newSpiceResponse(t, table.hz, h)
	}
	var in, out []float64
	for _, row := range readTable(t, "recording_clip.csv") {
		in, out = append(in, row[0]), append(out, row[1])
	}
	if err := s.clip.Fit(in, out); err != nil {
		t.Fatal(err)
	}
	for _, row := range readRows(t, "fit_ringed.csv") {
		if row[1] == "" {
			s.poles[row[0]] = complex(figureIn(t, row[2]), figureIn(t, row[3]))
		}
	}
	return s
}

// recorder is the bench with a load on the coil, with what is true of it: L and
// C as in the netlist, the resonance as ngspice's poles have it.
func (s *spiceBench) recorder(l capture.Load, rateHz int) (record.Recorder, virtual.Truth, error) {
	marked := ""
	if l.AddedC != nil {
		marked = l.AddedC.String()
	}
	for _, load := range spiceLoads {
		if load.marked != marked {
			continue
		}
		pole := s.poles[load.truly]
		return &spiceRecorder{bench: s, column: coilColumn(s.loop, load.truly), rateHz: rateHz},
			virtual.Truth{InductanceH: 3.1, CapacitanceF: 175e-12, ResonanceHz: cmplx.Abs(pole) / (2 * math.Pi)}, nil
	}
	return nil, virtual.Truth{}, fmt.Errorf("no netlist with %q", marked)
}

// cable is the bench with a cable from output to input.
func (s *spiceBench) cable(rateHz int) (record.Recorder, error) {
	return &spiceRecorder{bench: &spiceBench{responses: s.responses, rollOff: s.rollOff}, column: "cable",
		rateHz: rateHz}, nil
}

type spiceRecorder struct {
	bench  *spiceBench
	column string
	rateHz int
}

func (r *spiceRecorder) Format() record.Format { return record.Format{RateHz: r.rateHz, Channels: 1} }
func (r *spiceRecorder) Describe() capture.Bench {
	return capture.Bench{Source: "virtual", InputDevice: "ngspice"}
}

const (
	spiceLatency     = 777
	spicePeak        = 0.4  // of the first take, over full scale
	spiceNoise       = 1e-5 // rms
	spiceMainsHz     = 50.02
	spiceOversamples = 4
)

// spiceLengths are those of the transforms: quick ones, of which 100 ppm are a
// whole number of samples.
var spiceLengths = []int{320000, 500000}

// through is n samples of what is played after a response, resampled to m.
func (s *spiceBench) through(play []float32, column string, rateHz, n, m int) []float64 {
	x := make([]float64, n)
	for i, v := range play {
		x[i] = float64(v)
	}
	spectrum := fourier.NewFFT(n).Coefficients(nil, x)
	out := make([]complex128, m/2+1)
	for k := 1; k < min(len(spectrum), len(out))-1; k++ {
		hz := float64(k) * float64(rateHz) / float64(n)
		h := s.responses[column].at(hz)
		if s.rollOff {
			h *= s.responses["rolled"].at(hz)
		}
		out[k] = spectrum[k] * h / complex(float64(n), 0)
	}
	return fourier.NewFFT(m).Sequence(nil, out)
}

// clipped is x behind the input's diodes. Their harmonics are made at four
// times the rate, so that none is folded back.
func (s *spiceBench) clipped(x []float64, fullScaleV float64) {
	n := len(x)
	fine := fourier.NewFFT(spiceOversamples * n)
	spectrum := make([]complex128, spiceOversamples*n/2+1)
	copy(spectrum, fourier.NewFFT(n).Coefficients(nil, x))
	dense := fine.Sequence(nil, spectrum)
	for i, v := range dense {
		dense[i] = s.clip.Predict(v*fullScaleV/float64(n)) / fullScaleV
	}
	spectrum = fine.Coefficients(spectrum, dense)[:n/2+1]
	spectrum[n/2] = 0
	copy(x, fourier.NewFFT(n).Sequence(nil, spectrum))
	for i := range x {
		x[i] /= float64(spiceOversamples * n)
	}
}

func (r *spiceRecorder) Record(ctx context.Context, play []float32, frames int,
	sink func([]float32) error) (record.Session, error) {
	s := r.bench
	n := slices.IndexFunc(spiceLengths, func(n int) bool { return frames <= n })
	if n < 0 {
		return record.Session{}, fmt.Errorf("%d samples are too long for this bench", frames)
	}
	n = spiceLengths[n]
	x := s.through(play, r.column, r.rateHz, n, n+int(math.Round(float64(n)*s.driftPPM*1e-6)))
	if s.gain == 0 { // the first take is the bare one
		for _, v := range x {
			s.gain = max(s.gain, math.Abs(v))
		}
		s.gain = spicePeak / s.gain
	}
	for i := range x {
		x[i] *= s.gain
	}
	if s.clipsAtV > 0 {
		s.clipped(x, s.clipsAtV)
	}
	random := rand.New(rand.NewPCG(5, uint64(len(r.column))))
	out := make([]float32, 0, frames)
	hum := s.hum(play, r)
	for range spiceLatency {
		out = append(out, float32(hum(len(out))+spiceNoise*random.NormFloat64()))
	}
	// Where in the playback something happens: the stimulus is some sweeps of
	// one length between silences.
	knockAt, lostAt := s.places(play)
	for i := 0; i < len(x) && len(out) < frames; i++ {
		if s.lost > 0 && i == lostAt {
			i += s.lost
		}
		v := x[i] + hum(i+spiceLatency) + spiceNoise*random.NormFloat64()
		if s.knock && i >= knockAt {
			after := float64(i-knockAt) / float64(r.rateHz)
			v += 4 * math.Exp(-after/0.02) * math.Sin(2*math.Pi*35*after)
		}
		if s.inverted {
			v = -v
		}
		const step = 1.0 / (1 << 23)
		out = append(out, float32(min(max(math.Round(v/step)*step, -1), 1-step)))
	}
	for at := 0; at < len(out); at += 4800 {
		if err := ctx.Err(); err != nil {
			return record.Session{}, err
		}
		if err := sink(out[at:min(at+4800, len(out))]); err != nil {
			return record.Session{}, err
		}
	}
	return record.Session{}, nil
}

// hum is the mains at each sample, its first line so far over the sweep's level
// at 1 kHz as humDB says.
func (s *spiceBench) hum(play []float32, r *spiceRecorder) func(i int) float64 {
	if s.humDB == 0 {
		return func(int) float64 { return 0 }
	}
	level := 0.0
	for _, v := range play {
		level = max(level, math.Abs(float64(v)))
	}
	level *= s.gain * cmplx.Abs(s.responses[r.column].at(1000)) * math.Pow(10, s.humDB/20)
	return func(i int) float64 {
		turn := 2 * math.Pi * spiceMainsHz * float64(i) / float64(r.rateHz)
		v := math.Sin(turn)
		for _, n := range []float64{2, 3, 5, 7, 9, 11} {
			v += math.Sin(n*turn+n*n) / (3 * n)
		}
		return level * v
	}
}

// places are the middles of the second and of the last sweep that is played.
func (*spiceBench) places(play []float32) (second, last int) {
	const silence = 2000 // samples: longer than any zero crossing
	var sweeps [][2]int
	sounded := math.MinInt / 2
	for i, v := range play {
		if v == 0 {
			continue
		}
		if i-sounded > silence {
			sweeps = append(sweeps, [2]int{i, i})
		}
		sounded = i
		sweeps[len(sweeps)-1][1] = i + 1
	}
	middle := func(sweep [2]int) int { return (sweep[0] + sweep[1]) / 2 }
	return middle(sweeps[min(1, len(sweeps)-1)]), middle(sweeps[len(sweeps)-1])
}

// printed is the output of ngspice for a netlist.
func printed(t *testing.T, netlist string) []byte {
	t.Helper()
	program, err := exec.LookPath("ngspice")
	if err != nil {
		t.Skip("ngspice is not installed: the tables it printed are used")
	}
	out, err := exec.CommandContext(t.Context(), program, "-b", filepath.Join(spiceDir, netlist)).Output()
	if err != nil {
		t.Fatalf("ngspice: %v", err)
	}
	return out
}

// recordingTable turns the output of ngspice for recording.cir into the table
// that is kept.
func recordingTable(t *testing.T, printed []byte) string {
	t.Helper()
	var rows [][]string
	columns, row := 0, 0
	lines := bufio.NewScanner(bytes.NewReader(printed))
	for lines.Scan() {
		line := strings.TrimSpace(lines.Text())
		if columns < len(spiceColumns()) && line == spiceColumns()[columns] {
			columns, row = columns+1, 0
			continue
		}
		field := strings.Fields(line)
		if len(field) != 4 || columns == 0 {
			continue
		}
		if _, err := strconv.Atoi(field[0]); err != nil {
			continue
		}
		if columns == 1 {
			rows = append(rows, []string{short(t, field[1], 10)})
		}
		rows[row] = append(rows[row], short(t, field[2], 8), short(t, field[3], 8))
		row++
	}
	var out strings.Builder
	out.WriteString("# what ngspice prints of recording.cir (.ac), recorded over played: by the series resistor in\n" +
		"# ohm and the added C in F; the card by a cable; the roll-off by itself\nhz")
	for _, c := range spiceColumns() {
		fmt.Fprintf(&out, ",%s re,im", c)
	}
	out.WriteByte('\n')
	for _, r := range rows {
		out.WriteString(strings.Join(r, ",") + "\n")
	}
	return out.String()
}

func short(t *testing.T, text string, digits int) string {
	t.Helper()
	return strconv.FormatFloat(figureIn(t, text), 'g', digits, 64)
}

// clipTable is recordingTable for recording_clip.cir.
func clipTable(t *testing.T, printed []byte) string {
	t.Helper()
	var out strings.Builder
	out.WriteString("# what ngspice prints of recording_clip.cir (.dc)\nvolt_in,volt_out\n")
	lines := bufio.NewScanner(bytes.NewReader(printed))
	for lines.Scan() {
		if field := strings.Fields(lines.Text()); len(field) == 3 && strings.Contains(field[1], "e") {
			if _, err := strconv.Atoi(field[0]); err == nil {
				fmt.Fprintf(&out, "%s,%s\n", short(t, field[1], 6), short(t, field[2], 8))
			}
		}
	}
	return out.String()
}

// The tables that recordings are made from are ngspice's output for the netlists
// beside them.
func TestTablesOfRecordings(t *testing.T) {
	for name, fresh := range map[string]string{
		"recording.csv":      recordingTable(t, printed(t, "recording.cir")),
		"recording_clip.csv": clipTable(t, printed(t, "recording_clip.cir")),
	} {
		if *updateSpice {
			if err := os.WriteFile(filepath.Join(spiceDir, name), []byte(fresh), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		kept, rows := readTable(t, name), readText(t, fresh)
		if len(rows) != len(kept) || len(kept) < 200 {
			t.Fatalf("%s has %d rows, ngspice prints %d", name, len(kept), len(rows))
		}
		for i, row := range rows {
			for k, cell := range row {
				if x := figureIn(t, cell); math.Abs(x-kept[i][k]) > 1e-6*math.Abs(x)+1e-9 {
					t.Errorf("%s, row %d, column %d: kept %g, ngspice prints %s", name, i+1, k+1, kept[i][k], cell)
				}
			}
		}
	}
}

// The tables are dense enough for splines: through every second point they meet
// the points between within 0.001 %, and so, with an error that goes with the
// fourth power of the spacing, through all within 0.0001 %.
func TestTablesAreDense(t *testing.T) {
	table := readSpiceTable(t)
	for name, h := range table.h {
		var hz []float64
		var every []complex128
		for i := 0; i < len(h); i += 2 {
			hz, every = append(hz, table.hz[i]), append(every, h[i])
		}
		r := newSpiceResponse(t, hz, every)
		worst := 0.0
		for i := 1; i < len(h)-1; i += 2 {
			if table.hz[i] >= 20 && table.hz[i] <= 20000 {
				worst = max(worst, cmplx.Abs(r.at(table.hz[i])/h[i]-1))
			}
		}
		t.Logf("%s: %.2g", name, worst)
		if !(worst < 1e-5) {
			t.Errorf("%s: the spline is off by %.2g", name, worst)
		}
	}
}
