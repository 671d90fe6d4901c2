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
	{Number: 3, Name: "pulse", HostAPI: "ALSA", InputChannels: 32, OutputChannels: 32, MayResample: true},
	{Number: 4, Name: "pulse-desk", HostAPI: "ALSA", InputChannels: 32, OutputChannels: 32, MayResample: true},
	{Number: 5, Name: "default", HostAPI: "ALSA", InputChannels: 32, OutputChannels: 32, DefaultInput: true,
		DefaultOutput: true, MayResample: true},
}

func TestChoose(t *testing.T) {
	for _, c := range []struct {
		name, wanted string
		way          direction
		number       int
		errors       []string // parts of the error
	}{
		{name: "a number", wanted: "1", way: output, number: 1},
		{name: "part of the name", wanted: "usb", way: input, number: 1},
		{name: "case does not matter", wanted: "BENCH Interface", way: output, number: 1},
		{name: "a whole name wins", wanted: "Pulse", way: input, number: 3},
		{name: "only devices of that direction count", wanted: "a", way: input,
			errors: []string{`"a" is part of the name of 3`, "give more of the name", "  Onboard", "  Bench",
				"  default"}},
		{name: "ambiguous", wanted: "hw:", way: output,
			errors: []string{"3 sound devices with output channels", "  Onboard", "  Bench", "  Screen"}},
		{name: "no such name", wanted: "turntable", way: output,
			errors: []string{`no sound device with output channels has "turntable" in its name`, "  Onboard",
				"  default"}},
		{name: "no such number", wanted: "9", way: input,
			errors: []string{"no sound device number 9", "  pulse-desk"}},
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
}

// Where nobody says which device, it is the likeliest: an interface before the system's
// default, that before what is built in, and never what records the computer's own output.
func TestLikely(t *testing.T) {
	server := []Device{
		{Number: 0, Name: "Monitor of Onboard", HostAPI: "ALSA", InputChannels: 2, DefaultInput: true, MayResample: true},
		{Number: 1, Name: "pulse", HostAPI: "ALSA", InputChannels: 32, OutputChannels: 32, DefaultOutput: true,
			MayResample: true},
	}
	laptop := []Device{
		{Number: 0, Name: "Internal Mic (Chip)", HostAPI: "Windows WASAPI", InputChannels: 2, DefaultInput: true,
			MayResample: true},
		{Number: 1, Name: "Line In (Chip)", HostAPI: "Windows WASAPI", InputChannels: 2, MayResample: true},
		{Number: 2, Name: "Stereo Mix (Chip)", HostAPI: "Windows WASAPI", InputChannels: 2, MayResample: true},
		{Number: 3, Name: "USB Camera", HostAPI: "Windows WASAPI", InputChannels: 2, MayResample: true},
		{Number: 4, Name: "Screen (HDMI)", HostAPI: "Windows WASAPI", OutputChannels: 2, DefaultOutput: true,
			MayResample: true},
		{Number: 5, Name: "Speakers (Chip)", HostAPI: "Windows WASAPI", OutputChannels: 2, MayResample: true},
	}
	held := slices.Clone(desk)
	held[1].Trouble = "as input: not available"
	for _, c := range []struct {
		name    string
		devices []Device
		in, out int // -1: none
		whyIn   string
	}{
		{"an interface", desk, 1, 1, "made for recording; the hardware itself"},
		{"an interface that another program holds", held, 5, 5, "the system's default input"},
		{"a monitor as the default", server, 1, 1, "no better one"},
		{"a laptop", laptop, 1, 5, "a line socket"},
		{"each once", windows, 3, 4, "system's default input"},
		{"nothing but a monitor", server[:1], -1, -1, ""},
	} {
		number := func(c *Choice) int {
			if c == nil {
				return -1
			}
			return c.Number
		}
		in, out := Likely(c.devices)
		if number(in) != c.in || number(out) != c.out {
			t.Errorf("%s: in %+v, out %+v; want %d and %d", c.name, in, out, c.in, c.out)
			continue
		}
		if in != nil && !strings.Contains(in.Why, c.whyIn) {
			t.Errorf("%s: why %q, want %q", c.name, in.Why, c.whyIn)
		}
	}
	for _, c := range []struct {
		Device
		says string
	}{
		{server[0], "records what this computer plays"}, {server[1], "channels are no sockets"}, {laptop[2], "plays"},
		{laptop[3], "camera"}, {desk[2], "screen"}, {windows[6], ""},
	} {
		if about := c.About(); !strings.Contains(about, c.says) || c.says == "" && about != "" {
			t.Errorf("%s: %q, want %q", c.Name, about, c.says)
		}
	}
	if _, err := candidates(server[:1], "", input); err == nil || !strings.Contains(err.Error(), "choose one by name\n  Monitor") {
		t.Errorf("a monitor alone: %v", err)
	}
	if d, err := candidates(server, "monitor", input); err != nil || d[0].Number != 0 {
		t.Errorf("a monitor asked for by name: %v, %v", d, err)
	}
}

// windows is an invented set of devices, one interface under each host API as Windows
// has them: MME cuts names.
var windows = []Device{
	{Number: 0, Name: "Line (Bench interface with a lo", HostAPI: "MME", InputChannels: 2},
	{Number: 1, Name: "Out (Bench interface)", HostAPI: "MME", OutputChannels: 2},
	{Number: 2, Name: "Line (Bench interface with a long name)", HostAPI: "Windows DirectSound", InputChannels: 2},
	{Number: 3, Name: "Line (Bench interface with a long name)", HostAPI: "Windows WASAPI", InputChannels: 2,
		DefaultInput: true, DefaultRateHz: 44100},
	{Number: 4, Name: "Out (Bench interface)", HostAPI: "Windows WASAPI", OutputChannels: 2, DefaultOutput: true},
	{Number: 5, Name: "Line (Bench Wave)", HostAPI: "Windows WDM-KS", InputChannels: 2},
	{Number: 6, Name: "Twin", HostAPI: "Windows WASAPI", InputChannels: 1},
	{Number: 7, Name: "Twin", HostAPI: "Windows WASAPI", InputChannels: 1},
	{Number: 8, Name: "Twin", HostAPI: "Windows WASAPI", OutputChannels: 1},
}

func TestHostAPIs(t *testing.T) {
	for wanted, number := range map[string]int{
		"bench": 3, "line": 3, "wasapi: line": 3, "WASAPI:bench": 3, "mme: line": 0, "directsound: Line": 2,
		"wdm-ks: line": 5, "bench wave": 5, "Line (Bench interface with a lo": 0, "7": 7,
	} {
		if d, err := choose(windows, wanted, input); err != nil || d.Number != number {
			t.Errorf("%q: device %d, %v; want %d", wanted, d.Number, err, number)
		}
	}
	if _, err := choose(windows, "twin", input); err == nil || !strings.Contains(err.Error(), "\n  6  Twin (Windows WASAPI)") {
		t.Errorf("two of one name: %v", err)
	}
	if _, err := choose(windows, "jack: line", input); err == nil {
		t.Error("a host API that is not there: no error")
	}
	for number, want := range map[int]string{0: "Line (Bench interface with a lo", 1: "mme: Out (Bench interface)",
		3: "wasapi: Line (Bench interface with a long name)", 6: "6", 8: "Twin"} {
		if got := windows[number].Called(windows); got != want {
			t.Errorf("device %d is called %q, want %q", number, got, want)
		}
	}
	var once []int
	for _, d := range Once(windows) {
		once = append(once, d.Number)
	}
	if !slices.Equal(once, []int{3, 4, 6, 7, 8}) {
		t.Errorf("each once: %v", once)
	}
	if got := Once(desk); len(got) != len(desk) {
		t.Errorf("one host API: %d of %d devices", len(got), len(desk))
	}
	mustSay(t, refusedRate(windows[3], input, 96000, nil), "at 44100 Hz", "does not take 96000 Hz", "sound settings")
	mustSay(t, refusedRate(desk[0], input, 96000, []int{48000}), "does not take 96000 Hz as input; it takes 48000 Hz")
}

func TestTwoClocks(t *testing.T) {
	for _, c := range []struct {
		in, out Device
		want    bool
	}{
		{desk[0], desk[1], true}, {desk[1], desk[1], false}, {desk[3], desk[4], false}, {desk[0], desk[5], false},
		{windows[3], windows[4], false},
	} {
		if got := twoClocks(c.in, c.out); got != c.want {
			t.Errorf("%s and %s: %t", c.in.Name, c.out.Name, got)
		}
	}
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
