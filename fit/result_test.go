package fit

import (
	"encoding/json"
	"math"
	"testing"
)

func TestQuantityJSON(t *testing.T) {
	for _, q := range []struct {
		quantity Quantity
		text     string
	}{
		{Quantity{Value: 2.4, U: 0.01, U95: 0.02}, `{"value":2.4,"u":0.01,"U95":0.02}`},
		{Quantity{Value: 2.4, U: 0.1, U95: 0.25, Low: 2.2, High: 2.65},
			`{"value":2.4,"u":0.1,"U95":0.25,"low":2.2,"high":2.65}`},
		{Unknown("too few takes"), `{"value":null,"why":"too few takes"}`},
	} {
		marshalled, err := json.Marshal(q.quantity)
		if err != nil {
			t.Fatal(err)
		}
		text := string(marshalled)
		if text != q.text {
			t.Errorf("%s, want %s", text, q.text)
		}
		var back Quantity
		if err := json.Unmarshal([]byte(text), &back); err != nil {
			t.Fatal(err)
		}
		if q.quantity.Known() && back != q.quantity || back.Why != q.quantity.Why {
			t.Errorf("%s came back as %+v", text, back)
		}
	}
}

// The En number by its definition in ISO/IEC 17043 and ISO 13528: a meter's
// 2.310 H ± 0.060 H and 2.450 H ± 0.060 H against 2.237 H ± 0.045 H, worked out
// by hand.
func TestEn(t *testing.T) {
	for _, tt := range []struct{ reading, want float64 }{{2.310, 0.9733}, {2.450, 2.8400}, {2.237, 0},
		{2.164, -0.9733}} {
		if got := En(tt.reading, 0.060, 2.237, 0.045); math.Abs(got-tt.want) > 5e-5 {
			t.Errorf("En of %g is %.4f, want %.4f", tt.reading, got, tt.want)
		}
	}
}
