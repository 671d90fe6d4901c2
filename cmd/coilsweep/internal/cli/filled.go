package cli

import (
	"io"
	"strings"

	"coilsweep/cmd/coilsweep/internal/outfile"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/report/figure"
	"coilsweep/report/plot"
)

// filled is a file with what goes into it.
type filled struct {
	outfile.File
	fill func(io.Writer) error
}

// printingTo is how a figure is printed to a file, as large as figures are.
func printingTo(o outfile.File) figure.Printing {
	return figure.Printing{Made: workbench.Made(), Format: plot.Format(strings.TrimPrefix(o.Ending(), "."))}
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
