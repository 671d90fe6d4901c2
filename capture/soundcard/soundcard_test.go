package soundcard

import (
	"io/fs"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
)

// desk is an invented set of devices.
var desk = []Device{
	{Number: 0, Name: "Onboard: analog (hw:0,0)", HostAPI: "ALSA", InputChannels: 2, OutputChannels: 2},
	{Number: 1, Name: "Bench interface: USB audio (hw:1,0)", HostAPI: "ALSA", InputChannels: 4, OutputChannels: 4},
	{Number: 2, Name: "Screen: HDMI (hw:2,3)", HostAPI: "ALSA", OutputChannels: 8},
	{Number: 3, Name: "pulse", HostAPI: "ALSA", InputChannels: 32, OutputChannels: 32},
	{Number: 4, Name: "pulse-desk", HostAPI: "ALSA", InputChannels: 32, OutputChannels: 32},
	{Number: 5, Name: "default", HostAPI: "ALSA", InputChannels: 32, OutputChannels: 32, DefaultInput: true,
		DefaultOutput: true},
}

func TestChoose(t *testing.T) {
	for _, c := range []struct {
		name, wanted string
		way          direction
		number       int
		errors       []string // parts of the error
	}{
		{name: "the default", wanted: "", way: input, number: 5},
		{name: "a number", wanted: "1", way: output, number: 1},
		{name: "part of the name", wanted: "usb", way: input, number: 1},
		{name: "case does not matter", wanted: "BENCH Interface", way: output, number: 1},
		{name: "a whole name wins", wanted: "Pulse", way: input, number: 3},
		{name: "only devices of that direction count", wanted: "a", way: input,
			errors: []string{`"a" is part of the name of 3`, "give the number", "0  Onboard", "1  Bench",
				"5  default"}},
		{name: "ambiguous", wanted: "hw:", way: output,
			errors: []string{"3 sound devices with output channels", "0  Onboard", "1  Bench", "2  Screen"}},
		{name: "no such name", wanted: "turntable", way: output,
			errors: []string{`no sound device with output channels has "turntable" in its name`, "0  Onboard",
				"5  default"}},
		{name: "no such number", wanted: "9", way: input,
			errors: []string{"no sound device number 9", "4  pulse-desk"}},
		{name: "wrong direction", wanted: "2", way: input,
			errors: []string{"sound device 2 (Screen: HDMI (hw:2,3)) has no input channels"}},
		{name: "wrong direction by name", wanted: "screen", way: input,
			errors: []string{"no sound device with input channels"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			d, err := choose(desk, c.wanted, c.way)
			if len(c.errors) == 0 {
				if err != nil || d.Number != c.number {
					t.Errorf("got device %d, error %v; want device %d", d.Number, err, c.number)
				}
				return
			}
			mustSay(t, err, c.errors...)
		})
	}
	_, err := choose(desk[:3], "", output)
	mustSay(t, err, "no default output device", "1  Bench")
}

// mustSay fails unless err says all of the parts.
func mustSay(t *testing.T, err error, parts ...string) {
	t.Helper()
	if err == nil {
		t.Fatalf("no error, want one that says %q", parts)
	}
	for _, p := range parts {
		if !strings.Contains(err.Error(), p) {
			t.Errorf("error %q\ndoes not say %q", err, p)
		}
	}
}

func TestOptions(t *testing.T) {
	o, err := Options{}.withDefaults()
	want := Options{CoilChannel: 1, OutputChannel: 1, RateHz: 48000}
	if err != nil || o != want {
		t.Errorf("defaults are %+v, error %v; want %+v", o, err, want)
	}
	for says, o := range map[string]Options{
		"numbered from 1":                   {CoilChannel: -1},
		"cannot both be input channel 2":    {CoilChannel: 2, ReferenceChannel: 2},
		"cannot both be input channel 1":    {ReferenceChannel: 1},
		"-1 Hz is impossible":               {RateHz: -1},
		"buffer of 3 s is outside":          {BufferS: 3},
		"buffer of 0.0001 s is outside":     {BufferS: 1e-4},
		"channels of a sound device are nu": {OutputChannel: -3},
	} {
		_, err := o.withDefaults()
		mustSay(t, err, says)
	}
}

// The names are those that PortAudio's host interfaces give.
func TestMayResample(t *testing.T) {
	for _, c := range []struct {
		api, name string
		want      bool
	}{
		{"ALSA", "Bench interface: USB audio (hw:1,0)", false},
		{"ALSA", "default", true},
		{"ALSA", "dmix", true},
		{"ALSA", "pipewire", true},
		{"ALSA", "sysdefault", true},
		{"JACK Audio Connection Kit", "system", false},
		{"ASIO", "Bench interface", false},
		{"Windows WDM-KS", "Line (Bench interface)", false},
		{"MME", "Line (Bench interface)", true},
		{"Windows DirectSound", "Line (Bench interface)", true},
		{"Core Audio", "Bench interface", true},
	} {
		if got := mayResample(c.api, c.name); got != c.want {
			t.Errorf("%s, %s: %v, want %v", c.api, c.name, got, c.want)
		}
	}
}

func TestCommonRates(t *testing.T) {
	got := common([]int{44100, 48000, 96000}, []int{48000, 96000, 192000})
	if !slices.Equal(got, []int{48000, 96000}) {
		t.Errorf("got %v", got)
	}
	if s := rateList(got); s != "48000, 96000 Hz" {
		t.Errorf("list is %q", s)
	}
	if s := rateList(nil); s != "none of the usual rates" {
		t.Errorf("empty list is %q", s)
	}
}

func TestWhyNone(t *testing.T) {
	file := &fstest.MapFile{}
	cards := func(text string) *fstest.MapFile { return &fstest.MapFile{Data: []byte(text)} }
	for _, c := range []struct {
		name   string
		os     string
		root   fs.FS
		env    map[string]string
		refuse bool // device files
		says   []string
	}{
		{name: "no kernel support", root: fstest.MapFS{}, says: []string{"/proc/asound is missing", "/dev/snd"}},
		{name: "no card", root: fstest.MapFS{"proc/asound/cards": cards("--- no soundcards ---\n")},
			says: []string{"the kernel sees no sound card", "plug in"}},
		{name: "no permission", refuse: true,
			root: fstest.MapFS{"proc/asound/cards": cards(" 0 [Bench"), "dev/snd/pcmC0D0p": file},
			says: []string{"may not open /dev/snd/pcmC0D0p", "usermod -aG audio"}},
		{name: "held by another", root: fstest.MapFS{"dev/snd/pcmC0D0p": file},
			says: []string{"another program", "fuser"}},
		{name: "card without device files", root: fstest.MapFS{"proc/asound/cards": cards(" 0 [Bench")},
			says: []string{"not in /dev/snd"}},
		{name: "a server without plug-in", root: fstest.MapFS{"run/user/1000/pulse/native": file},
			env:  map[string]string{"XDG_RUNTIME_DIR": "/run/user/1000"},
			says: []string{"/run/user/1000/pulse/native", "libasound2-plugins", "pipewire-alsa"}},
		{name: "a server elsewhere", root: fstest.MapFS{}, env: map[string]string{"PULSE_SERVER": "tcp:desk:4713"},
			says: []string{"tcp:desk:4713"}},
		{name: "a server that is gone", root: fstest.MapFS{}, env: map[string]string{"PULSE_SERVER": "unix:/run/gone"},
			says: []string{"no sound server runs"}},
		{name: "another system", os: "darwin", root: fstest.MapFS{},
			says: []string{"plug in the interface", "microphone"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			if c.os == "" {
				c.os = "linux"
			}
			why := whyNone(surroundings{c.os, c.root,
				func(name string) string { return c.env[name] },
				func(string) bool { return !c.refuse }})
			for _, part := range append(c.says, "no sound device found") {
				if !strings.Contains(why, part) {
					t.Errorf("%q does not say %q", why, part)
				}
			}
		})
	}
}
