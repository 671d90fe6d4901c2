package quantity

import "testing"

func TestRoundTo(t *testing.T) {
	for _, tt := range []struct {
		x, u95, want float64
	}{{64.789e-12, 0.803e-12, 64.79e-12}, {999.6e3, 14.2e3, 1e6}, {1234.5, 0.0123, 1234.5}} {
		if got := RoundTo(tt.x, SecondDigit(tt.u95)); got != tt.want {
			t.Errorf("%g ± %g: %g, want %g", tt.x, tt.u95, got, tt.want)
		}
	}
	if got := SecondDigit(0.8e-12); got != -14 {
		t.Errorf("second digit of 0.8e-12 at 10^%d, want -14", got)
	}
}
