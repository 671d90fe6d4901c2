package main

import (
	"context"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"coilsweep/capture"
	"coilsweep/capture/record"
	"coilsweep/excite"
	"coilsweep/fit/response"
	"coilsweep/report/notation"
)

// designAt is design at another level, unless one was given.
func (s *stimulusFlags) designAt(cmd *cobra.Command, levelDBFS float64) (excite.Stimulus, error) {
	if !cmd.Flags().Changed("level") {
		s.levelDBFS = levelDBFS
	}
	return s.design()
}

// scout plays and records without keeping the audio, and estimates the
// response. What is unfit is an unfitError.
func (c *console) scout(ctx context.Context, recorder record.Recorder, take capture.Take) (*response.Response, capture.Take, error) {
	recording, take, err := c.listen(ctx, recorder, take)
	if err != nil {
		return nil, take, err
	}
	r, err := c.estimate(ctx, recording, take)
	return r, take, err
}

// estimate is the response of a take that was recorded; what is unfit is an
// unfitError.
func (c *console) estimate(ctx context.Context, recording capture.Recording, take capture.Take) (*response.Response, error) {
	if unfit := take.Unfit(); unfit != nil {
		for _, f := range unfit {
			c.warn("%s: %s", f, flagAdvice[f])
		}
		return nil, unfitError{fmt.Errorf("the recording is not fit for use: %s", flagList(unfit))}
	}
	return response.Estimate(ctx, recording, take)
}

// listen plays and records, with live meters on a terminal.
func (c *console) listen(ctx context.Context, recorder record.Recorder, take capture.Take) (capture.Recording, capture.Take, error) {
	bench := recorder.Describe()
	for _, note := range bench.Notes {
		c.remark("%s", note)
	}
	if bench.Source == "soundcard" {
		c.remark("playing on %s at %g dBFS: keep headphones off", bench.OutputDevice, take.Stimulus.LevelDBFS)
	}
	m := meters{w: c.err}
	if f, ok := c.err.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		m.terminal = true
	}
	recording, take, err := record.Scout(ctx, recorder, take, m.show)
	m.end()
	return recording, take, err
}

// meters shows levels while they come, on a terminal only.
type meters struct {
	w        io.Writer
	terminal bool
}

func (m meters) show(channels []record.Meter) {
	if !m.terminal {
		return
	}
	line := "\r\x1b[K"
	for i, ch := range channels {
		name := "coil"
		if i > 0 {
			name = "reference"
		}
		line += fmt.Sprintf("%s: peak %s, rms %s   ", name, notation.Level(ch.PeakDBFS), notation.Level(ch.RMSDBFS))
	}
	fmt.Fprint(m.w, line)
}

func (m meters) end() {
	if m.terminal {
		fmt.Fprint(m.w, "\r\x1b[K")
	}
}
