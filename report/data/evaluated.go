package data

import (
	"io"
	"os"
	"path/filepath"

	"coilsweep/fit/evaluation"
)

// ArchiveOf is the archive of an evaluation with its circuit.
func ArchiveOf(e *evaluation.Evaluation, audio bool, program string) Archive {
	return Archive{
		Result: *e.Result, Takes: e.Takes, Audio: audio, Program: program,
		Open: func(name string) (io.ReadCloser, error) {
			return os.Open(filepath.Join(e.Folder.Dir, filepath.FromSlash(name)))
		},
	}
}
