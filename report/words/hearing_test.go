package words

import (
	"strings"
	"testing"

	"coilsweep/fit"
	"coilsweep/fit/harness"
	"coilsweep/report/sound"
)

func heard(a, b, difference float64, octaves ...fit.Quantity) sound.Listening {
	l := sound.Listening{Names: [2]string{"neck", "bridge"}, Heard: &harness.Heard{}, Pair: &sound.Pair{
		A: sound.Sound{LUFS: a}, B: sound.Sound{LUFS: b}, Difference: sound.Sound{LUFS: difference}}}
	for i, q := range octaves {
		l.Octaves = append(l.Octaves, harness.Octave{CentreHz: 1000 * float64(int(1)<<i), Difference: q})
	}
	return l
}

func TestHearing(t *testing.T) {
	known := func(value, u95 float64) fit.Quantity { return fit.Quantity{Value: value, U: u95 / 2, U95: u95} }
	for _, tt := range []struct {
		l    sound.Listening
		want string
	}{
		{heard(-23, -23, -30, known(1, 0.5), known(-3, 0.5), known(0.1, 0.2)),
			"At equal loudness, bridge has 3.0 dB less than neck in the octave around 2 kHz: the largest difference. " +
				"Below what the measurement can tell: the difference at 4 kHz. " +
				"What is left when one sound is taken off the other, levels and phases, is 7.0 LU quieter than either."},
		{heard(-23, -23, -21.5, known(1, 0.5), fit.Unknown("nothing")),
			"At equal loudness, bridge has 1.0 dB more than neck in the octave around 1 kHz: the largest difference. " +
				"The recording has nothing at 2 kHz. " +
				"What is left when one sound is taken off the other, levels and phases, is 1.5 LU louder than either."},
		{heard(-23, -23, -40, known(0.2, 0.5), known(0.5, 0.5)),
			"The difference between neck and bridge is below what the measurement can tell, in every octave."},
	} {
		if got := strings.ReplaceAll(strings.Join(Hearing(tt.l), " "), "\u00a0", " "); got != tt.want {
			t.Errorf("said\n%s\nwant\n%s", got, tt.want)
		}
	}
}
