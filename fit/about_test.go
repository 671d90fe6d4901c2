package fit

import (
	"slices"
	"strings"
	"testing"
	"time"

	"coilsweep/capture"
	"coilsweep/capture/instrument"
)

// An instrument is told of once, with the takes that it was used for, and is overdue by the
// days of the takes, not by the day on which somebody asks.
func TestAbout(t *testing.T) {
	day := func(d int) time.Time { return time.Date(2026, 3, d, 12, 0, 0, 0, time.UTC) }
	sense := instrument.Used{Role: instrument.Reference,
		Instrument: instrument.Instrument{Serial: "2", CalibrationDue: "2026-03-02"}}
	card := instrument.Used{Role: instrument.Card, Instrument: instrument.Instrument{Name: "card"}}
	takes := []capture.Take{
		{Name: "one", Started: day(1), Operator: "A", Instruments: []instrument.Used{sense}},
		{Name: "two", Started: day(2), Operator: "B", Instruments: []instrument.Used{sense, card}},
		{Name: "three", Started: day(3), Operator: "A", Instruments: []instrument.Used{sense}},
		{Name: "four", Started: day(4), Instruments: []instrument.Used{sense}},
	}
	coil := capture.Coil{Serial: "7", Lot: "spring", DCRMeter: &instrument.Instrument{CalibrationDue: "2026-03-03"},
		Meter: []capture.MeterReading{{What: "L"}, {What: "Q"}}}
	a := NewAbout(coil, takes)
	var told []string
	for _, u := range a.Instruments {
		told = append(told, u.Role+" "+strings.Join(u.Takes, "+"))
	}
	want := []string{"sound card two", "sense resistor one+two+three+four", "meter of the DC resistance "}
	if !slices.Equal(told, want) {
		t.Errorf("instruments %q, want %q", told, want)
	}
	if !slices.Equal(a.Operators, []string{"A", "B"}) || a.Serial != "7" || a.Lot != "spring" || a.Customer != "" {
		t.Errorf("about %+v", a)
	}
	wantLapses := []string{
		`the sense resistor (serial 2) was due for calibration on 2026-03-02, and take "three" was made on 2026-03-03`,
		`the meter of the DC resistance was due for calibration on 2026-03-03, and take "four" was made on 2026-03-04`,
	}
	if got := a.Lapses(); !slices.Equal(got, wantLapses) {
		t.Errorf("lapses %q, want %q", got, wantLapses)
	}
	if got := NewAbout(coil, takes[:2]).Lapses(); got != nil {
		t.Errorf("of the first two takes: %q", got)
	}
	if got := NewAbout(capture.Coil{}, nil); got.Instruments != nil || got.Operators != nil {
		t.Errorf("of nothing: %+v", got)
	}
}
