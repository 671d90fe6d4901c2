package soundcard

import (
	"fmt"
	"io/fs"
	"os"
	"path"
	"runtime"
	"strings"
)

// surroundings is where the reasons are looked for when there is no device.
type surroundings struct {
	os     string
	root   fs.FS // the file system from "/"
	env    func(string) string
	mayUse func(file string) bool // whether this user may open the device file
}

func system() surroundings {
	return surroundings{
		os:   runtime.GOOS,
		root: os.DirFS("/"),
		env:  os.Getenv,
		mayUse: func(file string) bool {
			f, err := os.OpenFile(file, os.O_RDWR, 0)
			if err == nil {
				f.Close()
			}
			return !os.IsPermission(err)
		},
	}
}

// whyNone says why no sound device is there, and what to do.
func whyNone(s surroundings) string {
	const none = "no sound device found: "
	if s.os != "linux" {
		return none + "plug in the interface, see that the system lists it and that this program may use the microphone"
	}
	if pcms, _ := fs.Glob(s.root, "dev/snd/pcm*"); len(pcms) > 0 {
		for _, pcm := range pcms {
			if !s.mayUse("/" + pcm) {
				return fmt.Sprintf("%sthis user may not open /%s: join the group that owns it (sudo usermod -aG "+
					"audio $USER), log out and in again", none, pcm)
			}
		}
		return none + "there is a sound card (/" + pcms[0] +
			"), but PortAudio cannot use it: another program may hold it (fuser -v /dev/snd/*)"
	}
	if server := s.soundServer(); server != "" {
		return none + "a sound server runs (" + server + "), but ALSA has no way to it: install libasound2-plugins " +
			"(PulseAudio) or pipewire-alsa (PipeWire), or check ~/.asoundrc"
	}
	cards, err := fs.ReadFile(s.root, "proc/asound/cards")
	switch {
	case err != nil:
		return none + "the kernel has no sound driver loaded (/proc/asound is missing) and no sound server runs for " +
			"this user: " +
			"plug in the interface (lsusb shows it?); in a container or virtual machine pass the device on (/dev/snd)"
	case strings.Contains(string(cards), "no soundcards"):
		return none + "the kernel sees no sound card (/proc/asound/cards) and no sound server runs for this user: " +
			"plug in the interface, try another cable or port, see dmesg"
	}
	return none + "the kernel has a sound card (/proc/asound/cards), but its device files are not in /dev/snd: in a " +
		"container pass them on"
}

// soundServer is the socket of a PulseAudio or PipeWire server, or "".
func (s surroundings) soundServer() string {
	if server := s.env("PULSE_SERVER"); server != "" {
		if file, isFile := strings.CutPrefix(server, "unix:"); !isFile || s.exists(file) {
			return server
		}
	}
	run := s.env("XDG_RUNTIME_DIR")
	if run == "" {
		return ""
	}
	for _, socket := range []string{"pulse/native", "pipewire-0"} {
		if file := path.Join(run, socket); s.exists(file) {
			return file
		}
	}
	return ""
}

func (s surroundings) exists(file string) bool {
	_, err := fs.Stat(s.root, strings.TrimPrefix(path.Clean(file), "/"))
	return err == nil
}
