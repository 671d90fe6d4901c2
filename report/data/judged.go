package data

import (
	"encoding/json"
	"io"
	"path/filepath"

	"coilsweep/fit/batch"
	"coilsweep/report/notation"
)

const judgedSchema = "coilsweep.judged/1"

// JudgedLine writes a coil that was judged by itself, in one line.
func JudgedLine(w io.Writer, serial, folder string, verdict batch.Verdict, line string, judged []batch.Judged) error {
	encoder := json.NewEncoder(w)
	encoder.SetEscapeHTML(false)
	return encoder.Encode(Object{{"schema", judgedSchema}, {"serial", serial},
		{"folder", filepath.ToSlash(folder)}, {"verdict", verdict}, {"line", line},
		{"quantities", notation.Each(judged, func(j batch.Judged) Object {
			return Object{{"key", j.Key}, {"value", j.Value}, {"verdict", j.Verdict},
				{"lower", finiteOrNil(j.Limits.Lower)}, {"upper", finiteOrNil(j.Limits.Upper)},
				{"limit", finiteOrNil(j.Limit)}, {"beyond", finiteOrNil(j.Beyond)}, {"beyond_U95", finiteOrNil(j.U95)},
				{"probability_within", finiteOrNil(j.Probability)}}
		})}})
}
