package words

// Cautions are what to mind with any exciter.
func Cautions() []string {
	return []string{
		"drive it from a line or headphone output only, never from a mains-powered amplifier or a valve amplifier's " +
			"loudspeaker tap",
		"start with the level turned down; take headphones off before a sweep plays",
		"switch phantom power off at the input that the coil is on",
		"keep strong magnets, and a driven exciter, away from pacemakers and other implants",
	}
}
