package web

import (
	"fmt"
	"html/template"
	"net/http"
	"slices"

	"coilsweep/capture/soundcard"
)

// getDevices lists the sound devices, or says why there are none.
func (w *workshop) getDevices(r *http.Request) (any, error) {
	devices, err := soundcard.Devices(r.Context())
	none := ""
	switch {
	case err != nil:
		none = err.Error()
	case len(devices) == 0:
		none = "No sound device is found."
	}
	chosen, err := w.viewBench()
	if err != nil {
		return nil, err
	}
	list := func(setting string, channels func(soundcard.Device) (n int, usual bool)) template.HTML {
		return fragment("devices", deviceChoices(devices, chosen.Settings[setting], channels))
	}
	return shows{HTML: places{
		"b-input": list("input", func(d soundcard.Device) (int, bool) { return d.InputChannels, d.DefaultInput }),
		"b-output": list("output",
			func(d soundcard.Device) (int, bool) { return d.OutputChannels, d.DefaultOutput }),
		"devices-error": fragment("alarm", none),
	}}, nil
}

type deviceChoice struct{ Value, Text string }

// deviceChoices are the devices that have channels, each once, and the one that was
// chosen even where it is not there.
func deviceChoices(all []soundcard.Device, chosen string, channels func(soundcard.Device) (int, bool)) []deviceChoice {
	var choices []deviceChoice
	for _, d := range soundcard.Once(all) {
		n, usual := channels(d)
		if n == 0 {
			continue
		}
		c := deviceChoice{d.Called(all), d.Name}
		if d.HostAPI != "" {
			c.Text += ", " + d.HostAPI
		}
		c.Text += fmt.Sprintf(" (%d ch", n)
		if usual {
			c.Text += ", default"
		}
		c.Text += ")"
		choices = append(choices, c)
	}
	if chosen != "" && !slices.ContainsFunc(choices, func(c deviceChoice) bool { return c.Value == chosen }) {
		choices = append(choices, deviceChoice{chosen, chosen + " (not there now)"})
	}
	return choices
}
