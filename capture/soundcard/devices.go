//go:build cgo

package soundcard

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"strings"
	"sync/atomic"

	"github.com/gordonklaus/portaudio"
)

// Devices lists the sound devices and asks each which of UsualRatesHz it
// takes. Where there is none, the error says why as far as can be seen, and
// what to do.
func Devices(ctx context.Context) ([]Device, error) {
	if err := acquire(ctx, false); err != nil {
		return nil, err
	}
	defer release()
	var list []Device
	err := enter(ctx, listLimit, func(abandoned *atomic.Bool) error {
		found, infos, err := devices()
		if err != nil {
			return err
		}
		for i := range found {
			if abandoned.Load() {
				return nil
			}
			probe(&found[i], infos[i])
		}
		if !abandoned.Load() {
			list = found
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("listing the sound devices: %w", err)
	}
	if len(list) == 0 {
		return nil, errors.New(whyNone(system()))
	}
	return list, nil
}

// devices lists the devices without asking for rates. Within a turn.
func devices() ([]Device, []*portaudio.DeviceInfo, error) {
	infos, err := portaudio.Devices()
	if err != nil {
		return nil, nil, err
	}
	in, out := defaults()
	found := make([]Device, len(infos))
	for i, info := range infos {
		found[i] = Device{
			Number: info.Index,
			// A driver's name in another encoding would make files unreadable.
			Name:           strings.ToValidUTF8(info.Name, "?"),
			HostAPI:        info.HostApi.Name,
			InputChannels:  info.MaxInputChannels,
			OutputChannels: info.MaxOutputChannels,
			DefaultRateHz:  info.DefaultSampleRate,
			// PortAudio says -1 s where there are no channels.
			InputLatency:  max(0, info.DefaultHighInputLatency),
			OutputLatency: max(0, info.DefaultHighOutputLatency),
			DefaultInput:  info == in,
			DefaultOutput: info == out,
			MayResample:   mayResample(info.HostApi.Name, info.Name),
		}
	}
	return found, infos, nil
}

// defaults are the system's default devices, nil where there are none. PortAudio
// names those of the host API that comes first, on Windows MME. Within a turn.
func defaults() (in, out *portaudio.DeviceInfo) {
	in, _ = portaudio.DefaultInputDevice()   // none is no error here
	out, _ = portaudio.DefaultOutputDevice() // nor here
	if api, err := portaudio.HostApi(portaudio.WASAPI); err == nil {
		in, out = cmp.Or(api.DefaultInputDevice, in), cmp.Or(api.DefaultOutputDevice, out)
	}
	return in, out
}

// probe fills in RatesHz and Trouble. Within a turn.
func probe(d *Device, info *portaudio.DeviceInfo) {
	d.RatesHz = UsualRatesHz
	working := false
	for _, way := range []direction{input, output} {
		if d.in(way).channels == 0 {
			continue
		}
		takes, trouble := takenRates(info, way, min(2, d.in(way).channels))
		if len(takes) == 0 && trouble != nil {
			d.Trouble = fmt.Sprintf("as %s: %s", way, plain(trouble))
			continue
		}
		working = true
		d.RatesHz = common(d.RatesHz, takes)
	}
	if !working {
		d.RatesHz = nil
	}
}

// takenRates asks for each of UsualRatesHz whether the device takes it.
// Trouble is a refusal for another reason than the rate. Within a turn.
func takenRates(info *portaudio.DeviceInfo, way direction, channels int) (takes []int, trouble error) {
	for _, rate := range UsualRatesHz {
		err := supported(info, way, channels, rate)
		if err == nil {
			takes = append(takes, rate)
		} else if !errors.Is(err, portaudio.InvalidSampleRate) {
			trouble = err
		}
	}
	return takes, trouble
}

// supported asks whether the device takes the rate in one direction. Within a
// turn.
func supported(info *portaudio.DeviceInfo, way direction, channels, rateHz int) error {
	var p portaudio.StreamParameters
	p.SampleRate = float64(rateHz)
	side := portaudio.StreamDeviceParameters{Device: info, Channels: channels}
	if way == input {
		side.Latency = info.DefaultHighInputLatency
		p.Input = side
	} else {
		side.Latency = info.DefaultHighOutputLatency
		p.Output = side
	}
	return portaudio.IsFormatSupported(p, func([]float32) {})
}

// plain is PortAudio's error in words that say what to do, where they are
// known.
func plain(err error) string {
	switch {
	case errors.Is(err, portaudio.DeviceUnavailable):
		return "not available: another program may hold it, or it was unplugged"
	case errors.Is(err, portaudio.InvalidChannelCount):
		return "refuses the number of channels"
	case errors.Is(err, portaudio.InvalidSampleRate):
		return "refuses the sample rate"
	}
	return err.Error()
}
