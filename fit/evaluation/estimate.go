package evaluation

import (
	"context"
	"errors"
	"runtime"
	"slices"
	"strings"
	"sync"

	"coilsweep/capture"
	"coilsweep/capture/fault"
	"coilsweep/fit/joint"
	"coilsweep/fit/response"
)

// takeSlots bounds how many takes are in memory and worked on at a time,
// however many coils are evaluated side by side.
var takeSlots = make(chan struct{}, runtime.GOMAXPROCS(0))

// FlagUnreadable is that of a take whose files cannot be used.
const FlagUnreadable capture.Flag = "unreadable"

// unusable is a take that cannot be used because its files are damaged or
// missing.
func unusable(in joint.Take, err error) joint.Take {
	in.Flags, in.Unfit = append(in.Flags, string(FlagUnreadable)), err.Error()
	return in
}

// ReadTakes is folder.Takes; takes that before, which may be nil, knows already
// and that have not changed are not read again.
func ReadTakes(folder *capture.Folder, before *Evaluation) ([]capture.Take, []capture.UnreadableTake, error) {
	held, err := folder.Fingerprint()
	if err != nil {
		return nil, nil, err
	}
	e := &Evaluation{Folder: folder, held: held}
	unreadable := e.readTakes(before)
	return e.Takes, unreadable, nil
}

func (e *Evaluation) readTakes(before *Evaluation) (unreadable []capture.UnreadableTake) {
	known := map[capture.TakeFingerprint]capture.Take{}
	if before != nil {
		for _, t := range before.Takes {
			known[capture.TakeFingerprint{Name: t.Name, SHA256: before.checksumOf(t.Name)}] = t
		}
	}
	e.Takes, unreadable = e.Folder.Takes(e.held, known)
	return unreadable
}

// checksumOf is that of the take.toml of a take.
func (e *Evaluation) checksumOf(take string) string {
	at := slices.IndexFunc(e.held.Takes, func(h capture.TakeFingerprint) bool { return h.Name == take })
	if at < 0 {
		return ""
	}
	return e.held.Takes[at].SHA256
}

// estimate estimates the responses of all takes, on all cores, but for those
// that an earlier evaluation or a cache holds. A take that cannot be read is not
// usable; the error is that of ctx.
func (e *Evaluation) estimate(ctx context.Context, before *Evaluation, known *cache) ([]joint.Take, error) {
	e.audio = map[string]capture.AudioStamp{}
	inputs, faults := make([]joint.Take, len(e.Takes)), make([]error, len(e.Takes))
	var estimator response.Estimator
	var wait sync.WaitGroup
	for i, t := range e.Takes {
		if before != nil {
			if in, ok := before.inputs[e.checksumOf(t.Name)]; ok && in.Name == t.Name {
				inputs[i], e.audio[t.Name] = in, before.audio[t.Name]
				continue
			}
		}
		e.audio[t.Name] = e.Folder.AudioStamp(t.Name)
		takeSlots <- struct{}{}
		wait.Go(func() {
			defer func() { <-takeSlots }()
			defer fault.Catch(&faults[i], "take "+t.Name+" cannot be analysed")
			if inputs[i] = InputOf(t); inputs[i].Unfit != "" || ctx.Err() != nil {
				return
			}
			if inputs[i].Response = known.response(e.Folder, t); inputs[i].Response == nil {
				inputs[i] = estimate(ctx, &estimator, e.Folder, t)
			}
		})
	}
	wait.Wait()
	e.inputs = map[string]joint.Take{}
	for _, in := range inputs {
		if in.Response != nil { // a failure may succeed next time
			e.inputs[e.checksumOf(in.Name)] = in
		}
	}
	return inputs, errors.Join(append(faults, ctx.Err())...)
}

// Estimate is a take of folder as the fit wants it, with its response. Where it
// has none Unfit says why, or ctx has ended.
func Estimate(ctx context.Context, folder *capture.Folder, t capture.Take) joint.Take {
	return estimate(ctx, new(response.Estimator), folder, t)
}

func estimate(ctx context.Context, by *response.Estimator, folder *capture.Folder, t capture.Take) joint.Take {
	in := InputOf(t)
	if in.Unfit != "" || ctx.Err() != nil {
		return in
	}
	channels := []int{1}
	if t.Audio.Channels > 1 && t.HasReference() {
		channels = append(channels, 2)
	}
	recording, err := folder.Audio(t, channels...)
	if err != nil {
		return unusable(in, err)
	}
	if in.Response, err = by.Estimate(ctx, recording, t); err != nil {
		in.Unfit = strings.TrimSpace(err.Error())
	}
	return in
}

// Seen knows responses of takes of folder that were estimated, by the takes' names: it
// serves as Options.Before. Takes that cannot be read are not known.
func Seen(folder *capture.Folder, responses map[string]*response.Response) *Evaluation {
	held, err := folder.Fingerprint()
	if err != nil {
		return nil
	}
	e := &Evaluation{Folder: folder, held: held, audio: map[string]capture.AudioStamp{}, inputs: map[string]joint.Take{}}
	for name, r := range responses {
		if t, err := folder.ReadTake(name); err == nil {
			in := InputOf(t)
			in.Response = r
			e.inputs[e.checksumOf(name)], e.audio[name] = in, folder.AudioStamp(name)
		}
	}
	return e
}

// InputOf is a take as the fit wants it, but for its response.
func InputOf(t capture.Take) joint.Take {
	in := joint.Take{
		Name: t.Name, Load: t.Load, AudioSHA256: t.Audio.SHA256,
		Referenced: t.Referenced(), DriftPPM: t.Quality.DriftPPM, Card: t.Card,
		DriveFall: t.Drive.Fall, DriveLimitDB: t.DriveLimitDB(), Linearity: t.Linearity,
	}
	for _, f := range t.Quality.Flags {
		in.Flags = append(in.Flags, string(f))
	}
	if flags := t.Unfit(); flags != nil {
		in.Unfit = capture.FlagNames(flags)
	}
	return in
}
