package workbench

import (
	"context"
	"fmt"
	"strconv"

	"coilsweep/capture"
	"coilsweep/capture/record"
	"coilsweep/excite/quantity"
	"coilsweep/fit/check"
	"coilsweep/fit/joint"
)

// lowerDB is by how much the second level is lower, unless it is given.
const lowerDB = 12

// lowerLevel is the second level in dBFS that is asked for.
func lowerLevel(text string, levelDBFS float64) (float64, error) {
	if text == "" || text == "lower" {
		return levelDBFS - lowerDB, nil
	}
	low, err := strconv.ParseFloat(text, 64)
	if err != nil || !(low < levelDBFS) {
		return 0, Wrong("levels", "{levels}=%s: want a level in dBFS below {level}, %s dBFS", text, Signed(levelDBFS))
	}
	return low, nil
}

// Linearity is what the comparison of two levels found.
type Linearity struct {
	LevelsDBFS [2]float64 `json:"levels_dbfs"`
	check.Linearity
}

// compareLevels plays the stimulus of a take once more, lower, compares the
// response with that of the take, high, and keeps what it found with the take. The second
// recording is not kept.
func compareLevels(ctx context.Context, recorder record.Recorder, folder *capture.Folder, take capture.Take,
	high joint.Take, lowDBFS float64, hears Ears) (*Linearity, error) {
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	if high.Unfit != "" {
		return nil, &capture.UnfitError{What: high.Unfit}
	}
	again := take
	again.Quality = capture.Quality{}
	var err error
	if again.Stimulus, err = take.Stimulus.AtLevel(lowDBFS); err != nil {
		return nil, &OptionError{Option: "levels", Err: err}
	}
	low, _, err := listenAndEstimate(ctx, recorder, again, hears)
	if err != nil {
		return nil, fmt.Errorf("take %s is kept; the second level failed: %w", take.Name, err)
	}
	l, err := check.CompareLevels(high.Response, low)
	if err != nil {
		return nil, err
	}
	r := &Linearity{LevelsDBFS: [2]float64{take.Stimulus.LevelDBFS, lowDBFS}, Linearity: l}
	if err := folder.AddLinearity(take.Name, capture.Linearity{
		LevelsDBFS: r.LevelsDBFS, DeviationDB: l.DeviationDB, UDB: l.UDB, AtHz: l.AtHz, Linear: l.Linear,
	}); err != nil {
		return nil, fmt.Errorf("take %s is kept, its test of linearity is not: %w", take.Name, err)
	}
	if !l.Linear {
		hears.warn("not linear: at %s dBFS the response differs from that at %s dBFS by %s near %.0f Hz; measure at "+
			"a lower level, or farther from the exciter",
			Signed(r.LevelsDBFS[0]), Signed(r.LevelsDBFS[1]), quantity.Minus(fmt.Sprintf("%.2f dB", -l.DeviationDB)),
			l.AtHz)
	}
	return r, nil
}
