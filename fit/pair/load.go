package pair

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"math/cmplx"
	"path/filepath"
	"slices"

	"coilsweep/capture"
	"coilsweep/fit/circuit"
	"coilsweep/fit/evaluation"
	"coilsweep/fit/joint"
)

// Load reads the pair of the folder dir and estimates the responses of its takes. leftOut
// names takes that are not usable, with the reason. The errors are that of OpenRecord, a
// take of both that pair.toml does not describe, and what cannot be read.
func Load(ctx context.Context, dir string) (q Request, leftOut []string, err error) {
	r, err := OpenRecord(dir)
	if err != nil {
		return q, nil, err
	}
	q.Name, q.FieldLimit = r.Name, usualFieldPercent/100
	if r.FieldPercent != nil {
		q.FieldLimit = *r.FieldPercent / 100
	} else {
		q.Assumed = append(q.Assumed, fmt.Sprintf("field_percent is not stated in pair.toml: the exciter's field is assumed "+
			"to be the same at both coils within %g %%", usualFieldPercent))
	}
	described := map[string]bool{}
	for i, at := range r.folders() {
		path := at.in(dir)
		folder, err := capture.OpenFolder(path)
		if err != nil {
			return q, nil, err
		}
		if i < len(q.Coils) {
			q.Coils[i] = folder.Coil
		}
		held, err := folder.Fingerprint()
		if err != nil {
			return q, nil, err
		}
		takes, unreadable := folder.Takes(held, nil)
		for _, u := range unreadable {
			leftOut = append(leftOut, fmt.Sprintf("take %s/%s: %v", at.role, u.Name, u.Err))
		}
		for _, t := range takes {
			described[at.role+"/"+t.Name] = true
			c, place, levelChanged, ok := r.of(at.role, t.Name)
			if !ok {
				return q, nil, fmt.Errorf("take %s of %s is not described in %s: add a [[take]] with its name and wiring", t.Name,
					path, filepath.Join(dir, recordFile))
			}
			in := evaluation.Estimate(ctx, folder, t)
			if err := ctx.Err(); err != nil {
				return q, nil, err
			}
			both := c.Wiring == circuit.PairInSeries || c.Wiring == circuit.PairInParallel
			if both && slices.Equal(t.Unfit(), []capture.Flag{capture.Cancels}) {
				q.Assumed = append(q.Assumed, fmt.Sprintf("take %s/%s is not used: the signals of the two coils cancel, "+
					"as they do in the connection that cancels hum; make it with the exciter over one coil, and state that in "+
					"pair.toml", at.role, t.Name))
				continue
			}
			if in.Unfit != "" {
				leftOut = append(leftOut, fmt.Sprintf("take %s/%s: %s", at.role, t.Name, in.Unfit))
				continue
			}
			q.Takes = append(q.Takes, Take{Take: in, Folder: at.role, Connection: c, Place: place,
				LevelChanged: levelChanged})
		}
	}
	for _, t := range r.Takes {
		if at := t.folder() + "/" + t.Name; !described[at] {
			q.Missing = append(q.Missing, at)
		}
	}
	q.start()
	return q, leftOut, nil
}

// Where a search begins if the takes do not show it (typical values, no source).
const (
	usualOwnF, usualOhm = 120e-12, 4e3
	usualPeakHz         = 6e3
)

// start makes the coils about what their takes alone show: the peak, and how far an added
// capacitor moves it.
func (q *Request) start() {
	for i := range q.Start {
		type seen struct{ hz, farad float64 }
		var loads []seen
		for _, t := range q.Takes {
			if int(t.Connection.Wiring) != i {
				continue
			}
			var farad float64
			if c := t.Load.AddedC; c != nil {
				farad = c.SI
			}
			loads = append(loads, seen{peakOf(t.Take), farad})
		}
		slices.SortFunc(loads, func(a, b seen) int { return cmp.Compare(a.farad, b.farad) })
		c := &q.Start[i]
		c.ResistanceOhm, c.CapacitanceF = usualOhm, usualOwnF
		if r, _, ok := joint.ResistanceAtTakes(q.Coils[i]); ok {
			c.ResistanceOhm = r.Ohm
		}
		fixture, least, hz := 0.0, 0.0, usualPeakHz
		if len(q.Takes) > 0 && q.Takes[0].Load.FixtureC != nil {
			fixture = q.Takes[0].Load.FixtureC.SI
		}
		if len(loads) > 0 {
			hz, least = loads[0].hz, loads[0].farad
			last := loads[len(loads)-1]
			if ratio := hz / last.hz; ratio > 1.05 {
				all := (last.farad - least*ratio*ratio) / (ratio*ratio - 1)
				c.CapacitanceF = min(max(all-fixture, 30e-12), 600e-12)
			}
		}
		w := 2 * math.Pi * hz
		c.InductanceH = 1 / (w * w * (c.CapacitanceF + fixture + least))
	}
}

// peakOf is where a take is strongest.
func peakOf(t joint.Take) float64 {
	hz, most := usualPeakHz, 0.0
	for k, h := range t.Response.H {
		if f := t.Response.FrequencyHz[k]; f > 500 && f < 18e3 && cmplx.Abs(h) > most {
			hz, most = f, cmplx.Abs(h)
		}
	}
	return hz
}
