package words

// Cautions are what to mind with any exciter, each under two or three words that
// stand for it: "Headphones off: the sweep is loud …".
func Cautions() []string {
	return []string{
		"Phantom power off: switch it off for the whole interface before the coil is plugged in. 48 V drives a direct " +
			"current through the coil.",
		"Headphones off: the sweep is loud and runs up to 20 kHz. Turn loudspeakers down too, start with a low level " +
			"(−30 dBFS) and raise it.",
		"Line or headphone output only: never drive the exciter from a mains-powered power amplifier. Its outputs may " +
			"be bridged, and its current burns the exciter. Never from a valve amplifier's loudspeaker tap: without its " +
			"load it makes voltages that kill.",
		"Exciter cool: with a series resistor of 100 ohm or more it stays cold. If exciter or resistor gets warm to the " +
			"touch, stop: something is not wired as drawn.",
		"Strong magnets: keep pickups and a driven exciter away from pacemakers and other implants, and from magnetic " +
			"cards.",
		"Coil alone: measure it out of any circuit that is connected to the mains. A laptop on its battery is safer " +
			"and hums less.",
		"Local codes: leave work on mains-powered equipment to those who are qualified and, where the law asks for it, " +
			"licensed. Nothing here replaces your local rules.",
	}
}
