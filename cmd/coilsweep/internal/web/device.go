package web

import (
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"strconv"

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
	return shows{places{
		"b-input":       list("input", func(d soundcard.Device) (int, bool) { return d.InputChannels, d.DefaultInput }),
		"b-output":      list("output", func(d soundcard.Device) (int, bool) { return d.OutputChannels, d.DefaultOutput }),
		"devices-error": fragment("alarm", none),
	}}, nil
}

type deviceChoice struct{ Value, Text string }

// deviceChoices are the devices that have channels: by name, and by number where
// several have one name, as under several sound systems. The one that was chosen is
// among them even where it is not there.
func deviceChoices(all []soundcard.Device, chosen string, channels func(soundcard.Device) (int, bool)) []deviceChoice {
	names := map[string]int{}
	for _, d := range all {
		if n, _ := channels(d); n > 0 {
			names[d.Name]++
		}
	}
	var choices []deviceChoice
	for _, d := range all {
		n, usual := channels(d)
		if n == 0 {
			continue
		}
		c := deviceChoice{d.Name, d.Name}
		if names[d.Name] > 1 {
			c.Value = strconv.Itoa(d.Number)
		}
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
