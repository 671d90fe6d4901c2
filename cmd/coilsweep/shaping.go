package main

import (
	"context"
	"fmt"
	"math"
	"path/filepath"

	"coilsweep/capture"
	"coilsweep/excite"
	"coilsweep/fit"
	"coilsweep/fit/joint"
)

// shapeAfter gives the stimulus of a take to come the shape that tells most of
// its resonance, Q and inductance, after an earlier take of the coil. The take
// to come may have another load.
func (c *console) shapeAfter(ctx context.Context, folder *capture.Folder, scout string, take capture.Take) (excite.Stimulus, error) {
	before, err := folder.ReadTake(scout)
	if err != nil {
		return excite.Stimulus{}, err
	}
	return c.shape(ctx, folder, before, take.Stimulus, take.Load)
}

func (c *console) shape(ctx context.Context, folder *capture.Folder, scout capture.Take, plain excite.Stimulus, load capture.Load) (excite.Stimulus, error) {
	in := estimateTake(ctx, folder, scout)
	if err := ctx.Err(); err != nil {
		return excite.Stimulus{}, err
	}
	if in.Unfit != "" {
		return excite.Stimulus{}, fmt.Errorf("take %s cannot be the scout of another: %s", scout.Name, in.Unfit)
	}
	fitted, err := joint.Fit(ctx, folder.Coil, []joint.Take{in}, fit.Options{})
	if err != nil {
		return excite.Stimulus{}, err
	}
	e, err := fitted.Excitation(scout.Name, scout.Stimulus, plain, load)
	if err != nil {
		return excite.Stimulus{}, fmt.Errorf("the sweep cannot be shaped: %w", err)
	}
	shaped, err := plain.Shaped(e.Shape)
	if err != nil {
		return excite.Stimulus{}, fmt.Errorf("the sweep cannot be shaped: %w", err)
	}
	c.warn("the sweep is shaped for a resonance near %.0f Hz, after take %s; the noise of the resonance should be %.0f %% and that of Q %.0f %% of a plain sweep's",
		e.ResonanceHz, scout.Name, 100*math.Sqrt(e.ResonanceVariance), 100*math.Sqrt(e.QVariance))
	return shaped, nil
}

// shapeAfterDir shapes a stimulus after the take in a directory, for the same
// load.
func (c *console) shapeAfterDir(ctx context.Context, dir string, plain excite.Stimulus) (excite.Stimulus, error) {
	takes, name := filepath.Split(filepath.Clean(dir))
	takes = filepath.Clean(takes)
	if filepath.Base(takes) != "takes" {
		return excite.Stimulus{}, usagef("--after %s: want a take of a coil folder, DIR/takes/NAME", dir)
	}
	folder, err := capture.OpenFolder(filepath.Dir(takes))
	if err != nil {
		return excite.Stimulus{}, err
	}
	scout, err := folder.ReadTake(name)
	if err != nil {
		return excite.Stimulus{}, err
	}
	return c.shape(ctx, folder, scout, plain, scout.Load)
}
