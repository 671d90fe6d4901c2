package cli

import (
	"io"

	"coilsweep/cmd/coilsweep/internal/outfile"
)

// filled is a file with what goes into it.
type filled struct {
	outfile.File
	fill func(io.Writer) error
}

// writeFiles writes those files that were asked for.
func (c *console) writeFiles(files []filled) error {
	for _, f := range files {
		if f.Path == "" {
			continue
		}
		if err := f.Write(f.fill); err != nil {
			return err
		}
		c.warn("wrote %s", f.Path)
	}
	return nil
}
