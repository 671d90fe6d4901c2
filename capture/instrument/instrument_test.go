package instrument

import (
	"testing"
	"time"
)

// A calibration is valid on its last day, by the calendar of the bench, whenever somebody
// asks.
func TestLapsed(t *testing.T) {
	meter := Used{DCRMeter, Instrument{Name: "multimeter", Serial: "7", Certificate: "K-1",
		CalibrationDue: "2026-11-25"}}
	if got, want := meter.Words(), "multimeter, serial 7, certificate K-1, calibration due 2026-11-25"; got != want {
		t.Errorf("words %q, want %q", got, want)
	}
	east := time.FixedZone("", 13*3600)
	last := time.Date(2026, 11, 25, 23, 59, 0, 0, east)
	for _, valid := range []time.Time{last, last.AddDate(-3, 0, 0), {}} {
		if said := meter.Lapsed("bare", valid); said != "" {
			t.Errorf("%v: %s", valid, said)
		}
	}
	const want = `the meter of the DC resistance (multimeter, serial 7) was due for calibration on 2026-11-25, and ` +
		`take "bare" was made on 2026-11-26`
	if got := meter.Lapsed("bare", last.Add(time.Minute)); got != want {
		t.Errorf("said %q, want %q", got, want)
	}
	if got := (Used{Role: Card}).Lapsed("bare", last); got != "" {
		t.Errorf("of nothing stated: %q", got)
	}
}

func TestCheck(t *testing.T) {
	for _, day := range []Day{"2026-02-30", "1.3.2027", "soon"} {
		if (Instrument{CalibrationDue: day}).Check() == nil {
			t.Errorf("%q is taken for a day", day)
		}
	}
}
