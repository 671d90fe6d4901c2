package workbench

import (
	"context"

	"coilsweep/capture"
	"coilsweep/capture/record"
	"coilsweep/fit/response"
)

// plainLevelDBFS is the level straight into an input, without a coil in between:
// line outputs are many times louder than coils.
const plainLevelDBFS = -24

// listen plays and records without keeping the audio.
func listen(ctx context.Context, recorder record.Recorder, take capture.Take, hears Ears) (capture.Recording,
	capture.Take, error) {
	bench := recorder.Describe()
	for _, note := range bench.Notes {
		hears.remark("%s", note)
	}
	playing(hears, take, bench)
	recording, take, err := record.Scout(ctx, recorder, take, hears.Meters)
	hears.ended()
	return recording, take, err
}

// estimate is the response of a take that was recorded; an unusable one is a
// *capture.UnfitError.
func estimate(ctx context.Context, by *response.Estimator, recording capture.Recording, take capture.Take) (
	*response.Response, error) {
	if unfit := take.Unfit(); unfit != nil {
		return nil, &capture.UnfitError{What: "the recording is not usable", Flags: unfit, Quality: take.Quality}
	}
	return by.EstimateCopy(ctx, recording, take)
}

// estimating is estimate, to be done.
func estimating(ctx context.Context, by *response.Estimator, recording capture.Recording,
	take capture.Take) func() (*response.Response, error) {
	return func() (*response.Response, error) { return estimate(ctx, by, recording, take) }
}

// listenAndEstimate plays and records without keeping the audio, and estimates
// the response.
func listenAndEstimate(ctx context.Context, recorder record.Recorder, take capture.Take,
	hears Ears) (*response.Response, capture.Take, error) {
	recording, take, err := listen(ctx, recorder, take, hears)
	if err != nil {
		return nil, take, err
	}
	r, err := estimate(ctx, new(response.Estimator), recording, take)
	return r, take, err
}
