package words

// Cautions are what to mind with any exciter, each under two or three words that
// stand for it: "Headphones off: the sweep is loud …".
func Cautions() []string {
	return []string{
		"Phantom power off: switch it off for the whole interface before the coil is plugged in. 48 V drives a direct " +
			"current through the coil.",
		"Headphones off: the sweep is loud and runs up to 20 kHz. Turn loudspeakers down too, start with a low level " +
			"(−30 dBFS) and raise it.",
		"Line or headphone output only: never drive the exciter from a mains-powered amplifier or a valve amplifier's " +
			"loudspeaker tap. Without its load the tap makes voltages that kill.",
		"Exciter cool: if the exciter or its series resistor gets warm to the touch, stop. Something is wired wrongly.",
		"Strong magnets: keep pickups and a driven exciter away from pacemakers and other implants, and from magnetic " +
			"cards.",
		"Coil alone: measure it out of any circuit that is connected to the mains, with battery-powered or isolated " +
			"equipment where you can.",
		"Mains: work on mains-powered equipment belongs to those who are qualified and, where local codes ask for it, " +
			"licensed.",
	}
}
