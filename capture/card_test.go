package capture

import (
	"math"
	"strings"
	"testing"
)

// What is not stated of a card has its usual limit, a smaller one where a
// reference or a calibration takes the card out.
func TestCardLimits(t *testing.T) {
	for _, test := range []struct {
		take Take
		want Card
	}{
		{Take{Reference: Reference{Kind: "none"}}, Card{0.01, 0.001, 50}},
		{Take{Reference: Reference{Kind: "loopback"}}, Card{0.003, 0.001, 50}},
		{Take{Reference: Reference{Kind: "none"}, Calibration: &Calibration{}}, Card{0.003, 0.001, 50}},
		{Take{Reference: Reference{Kind: "current"}, Card: Card{RippleDB: 0.05, ClockPPM: 2}}, Card{0.05, 0.001, 2}},
		{Take{Card: Card{RippleTakeDB: 3e-4}}, Card{0.01, 3e-4, 50}},
	} {
		if got := test.take.CardLimits(); got != test.want {
			t.Errorf("%+v: %+v, want %+v", test.take.Card, got, test.want)
		}
	}
}

func TestCardCheck(t *testing.T) {
	for _, test := range []struct {
		card Card
		want string
	}{
		{Card{}, ""}, {Card{3, 1, 1000}, ""}, {Card{1e-4, 1e-5, 1e-3}, ""},
		{Card{RippleDB: -0.01}, "ripple_db is -0.01"},
		{Card{RippleTakeDB: 2}, "ripple_take_db is 2: want 1e-05 to 1 dB"},
		{Card{ClockPPM: math.NaN()}, "clock_ppm is NaN"}, {Card{ClockPPM: math.Inf(1)}, "clock_ppm is +Inf"},
	} {
		if err := test.card.check(); (err == nil) != (test.want == "") || err != nil &&
			!strings.Contains(err.Error(), test.want) {
			t.Errorf("%+v: %v, want %q", test.card, err, test.want)
		}
	}
}
