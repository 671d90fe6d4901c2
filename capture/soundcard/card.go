//go:build cgo

package soundcard

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"sync/atomic"
	"time"

	"github.com/gordonklaus/portaudio"

	"coilsweep/capture"
	"coilsweep/capture/record"
)

// Card is an open pair of sound devices, ready to record. It is not safe for
// concurrent use.
type Card struct {
	options  Options
	in, out  end
	twoSides bool     // a stream for each direction
	kept     *streams // running since the last Record; nil: none are
	closed   bool
}

var _ record.Recorder = (*Card)(nil)

// end is one of the two devices and how it is used.
type end struct {
	Device
	info     *portaudio.DeviceInfo
	channels int // opened
	latency  time.Duration
}

// Open chooses the devices and makes sure, without a sound, that they take the
// rate and the channels. The Card must be closed.
func Open(o Options) (*Card, error) {
	o, err := o.withDefaults()
	if err != nil {
		return nil, err
	}
	ctx := context.Background()
	if err := acquire(ctx, o.Verbose); err != nil {
		return nil, err
	}
	c := &Card{options: o}
	err = enter(ctx, listLimit, func(abandoned *atomic.Bool) error {
		chosen, err := choosePair(o)
		if err == nil && !abandoned.Load() {
			*c = *chosen
		}
		return err
	})
	if err != nil {
		release()
		return nil, err
	}
	return c, nil
}

// choosePair is Open within a turn.
func choosePair(o Options) (*Card, error) {
	found, infos, err := devices()
	if err != nil {
		return nil, fmt.Errorf("listing the sound devices: %w", err)
	}
	if len(found) == 0 {
		return nil, errors.New(whyNone(system()))
	}
	c := &Card{options: o}
	for _, side := range []struct {
		end     *end
		way     direction
		wanted  string
		channel int
	}{
		{&c.in, input, o.Input, max(o.CoilChannel, o.ReferenceChannel)},
		{&c.out, output, o.Output, o.OutputChannel},
	} {
		able, err := candidates(found, side.wanted, side.way)
		if err != nil {
			return nil, err
		}
		var refused error
		for i, d := range able {
			*side.end, err = endOf(d, infos[d.Number], side.way, side.channel, o)
			if refused = cmp.Or(refused, err); err == nil {
				break
			} else if i == len(able)-1 {
				return nil, refused
			}
		}
	}
	if o.Pair && o.ReferenceChannel == 0 && o.CoilChannel == 1 && c.in.channels >= 2 {
		c.options.ReferenceChannel = 2
	}
	// PortAudio's ALSA part gives a duplex stream up for good when a plug-in
	// cannot tell one direction's delay, as PulseAudio's often cannot on a busy
	// machine (19.6, function ContinuePoll).
	plugIn := c.in.HostAPI == "ALSA" && (c.in.MayResample || c.out.MayResample)
	c.twoSides = plugIn || c.in.HostAPI != c.out.HostAPI
	return c, nil
}

// endOf is a device as one end, if it has the channel and takes the rate. Within a turn.
func endOf(d Device, info *portaudio.DeviceInfo, way direction, channel int, o Options) (end, error) {
	most := d.in(way).channels
	if channel > most {
		return end{}, fmt.Errorf("sound device %d (%s) has %d %s channel(s), no channel %d", d.Number, d.Name, most,
			way, channel)
	}
	// At least two where there are two: a sound server mixes all its channels into one
	// when asked for one.
	e := end{Device: d, info: info, channels: max(channel, min(2, most)), latency: latency(o.BufferS, d, way)}
	return e, checkRate(e, way, o.RateHz)
}

// latency is what to ask the driver for.
func latency(bufferS float64, d Device, way direction) time.Duration {
	if bufferS != 0 {
		return time.Duration(bufferS * float64(time.Second))
	}
	least := hardwareBufferS
	if d.MayResample {
		least = serverBufferS
	}
	return time.Duration(min(max(d.in(way).latency.Seconds(), least), mostBufferS) * float64(time.Second))
}

// checkRate asks whether the device takes the rate, and if not, which it
// would. Within a turn.
func checkRate(e end, way direction, rateHz int) error {
	mark := markChatter()
	err := supported(e.info, way, e.channels, rateHz)
	if err == nil {
		return nil
	}
	if !errors.Is(err, portaudio.InvalidSampleRate) {
		return withChatter(fmt.Errorf("sound device %d (%s, %s) cannot be used as %s: %s",
			e.Number, e.Name, e.HostAPI, way, plain(err)), mark)
	}
	takes, _ := takenRates(e.info, way, e.channels)
	return refusedRate(e.Device, way, rateHz, takes)
}

// Format is the rate and the channels recorded: the coil's, and the
// reference's if there is one.
func (c *Card) Format() record.Format {
	return record.Format{RateHz: c.options.RateHz, Channels: len(c.pick())}
}

// pick is the offsets of the recorded channels in a frame of the device.
func (c *Card) pick() []int {
	pick := []int{c.options.CoilChannel - 1}
	if c.options.ReferenceChannel > 0 {
		pick = append(pick, c.options.ReferenceChannel-1)
	}
	return pick
}

// Describe says which devices and settings are used.
func (c *Card) Describe() capture.Bench {
	b := capture.Bench{
		Source:           "soundcard",
		InputDevice:      c.in.Name,
		OutputDevice:     c.out.Name,
		HostAPI:          c.in.HostAPI,
		BufferS:          max(c.in.latency, c.out.latency).Seconds(),
		TwoClocks:        twoClocks(c.in.Device, c.out.Device),
		CoilChannel:      c.options.CoilChannel,
		ReferenceChannel: c.options.ReferenceChannel,
	}
	if c.in.HostAPI != c.out.HostAPI {
		b.HostAPI += " in, " + c.out.HostAPI + " out"
	}
	for _, side := range []struct {
		end
		way    direction
		wanted string
	}{{c.in, input, c.options.Input}, {c.out, output, c.options.Output}} {
		if side.wanted == "" && !side.in(side.way).isDefault {
			b.Notes = append(b.Notes, fmt.Sprintf("%q is used as %s, not the system's default: it is %s", side.Name,
				side.way, why(side.Device, side.way)))
		}
	}
	for _, e := range []end{c.in, c.out} {
		note := fmt.Sprintf("%q is not the hardware itself: its samples may have been resampled or mixed on the way",
			e.Name)
		if e.MayResample && !slices.Contains(b.Notes, note) {
			b.Notes = append(b.Notes, note)
		}
	}
	return b
}

// Close gives the devices back. An error means that the sound system hangs.
func (c *Card) Close() error {
	if c.closed {
		return nil
	}
	c.closed = true
	stopped := c.stopKept()
	if err := errors.Join(stopped, release()); err != nil {
		return fmt.Errorf("closing the sound devices: %w", err)
	}
	return nil
}

// String names the pair for errors.
func (c *Card) String() string {
	if c.in.Number == c.out.Number {
		return fmt.Sprintf("sound device %d (%s)", c.in.Number, c.in.Name)
	}
	return fmt.Sprintf("sound devices %d (%s) and %d (%s)", c.in.Number, c.in.Name, c.out.Number, c.out.Name)
}
