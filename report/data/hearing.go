package data

import (
	"io"
	"path/filepath"

	"coilsweep/report/notation"
	"coilsweep/report/sound"
)

const hearingSchema = "coilsweep.hearing/1"

// HearingJSON writes how two sounds differ for programs: levels of the second minus
// those of the first, at equal loudness. files are the names of what was written.
func HearingJSON(w io.Writer, l sound.Listening, files []string) error {
	var recordedWith *string
	if l.RecordedWith != "" {
		recordedWith = &l.RecordedWith
	}
	return writeJSON(w, Object{{"schema", hearingSchema}, {"recording", l.Recording}, {"sounds", l.Names},
		{"recorded_with", recordedWith}, {"rate_hz", l.RateHz}, {"loudness_method", "ITU-R BS.1770-5"},
		{"loudness_lufs", notation.Each([]sound.Sound{l.A, l.B}, loudnessOf)},
		{"difference_loudness_lufs", loudnessOf(l.Pair.Difference)}, {"octaves", l.Octaves},
		{"assumptions", orEmpty(l.Assumptions)},
		{"warnings", orEmpty(l.Warnings)}, {"files", notation.Each(orEmpty(files), filepath.ToSlash)}})
}

func loudnessOf(s sound.Sound) *float64 { return finiteOrNil(s.LUFS) }
