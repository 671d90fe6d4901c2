package cli

import (
	"cmp"
	"io"
	"os"
	"path/filepath"

	"coilsweep/cmd/coilsweep/internal/inguitar"

	"github.com/spf13/cobra"

	"coilsweep/cmd/coilsweep/internal/outfile"
	"coilsweep/cmd/coilsweep/internal/screen"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/report/data"
	"coilsweep/report/page"
	"coilsweep/report/sound"
	"coilsweep/report/terminal"
	"coilsweep/report/words"
)

func newHear(c *console) *cobra.Command {
	options := inguitar.NewHear()
	fit := workbench.NewFit(false)
	var folder string
	var force bool
	return c.command(&cobra.Command{
		Use:   "hear DIR [DIR2]",
		Short: "Hear the measured coil, or the difference of two, in a guitar",
		Long: `Hear what one measured coil does to a recording, or how two differ, each alone in
the same guitar: both sounds at equal loudness (ITU-R BS.1770-5), what is left when
one is taken off the other, and the difference by octave with its U95. Where it is
below what the measurement can tell, that is said.

--in is a recording without a coil in it, such as from a piezo pickup, or one made
with a measured coil: name that coil by --recorded-with, and its response is taken
out. Without --in strings are plucked (Karplus and Strong 1983); --in "E2 B2 E3"
plucks others.

With --out the sounds are written to a folder, as WAV files and as a page that
plays them: keys 1 and 2 change between them without a gap. The guitar is described
as for 'coilsweep predict'.

Turn the volume down before you play them.`,
		Example: `  coilsweep hear bridge --volume 500k --cable 470p
  coilsweep hear neck bridge --harness guitar.toml --in dry.wav --out heard
  coilsweep hear neck bridge --in take5.wav --recorded-with neck --cable 470p --out heard`,
		Args: oneOrTwo("one coil folder or two"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 2 {
				if err := someDirs(2)(cmd, args); err != nil {
					return &workbench.UsageError{Err: err}
				}
			}
			h, dirs, a, b, err := options.Plan(args)
			if err := cmp.Or(err, needs(cmd, "force", "out")); err != nil {
				return err
			}
			files := soundFiles(folder, force)
			for _, f := range files {
				if err := f.Check(filepath.Ext(f.Path)); err != nil {
					return err
				}
			}
			recording, err := options.Recording()
			if err != nil {
				return err
			}
			coils, measured, unfit, err := c.inGuitar(cmd.Context(), dirs, fit)
			if err != nil {
				return err
			}
			l, err := sound.Listen(cmd.Context(), h, coils, a, b, recording)
			if err != nil {
				return err
			}
			document := page.HearingDocument{Listening: *l, Harness: h, Coils: measured, Made: workbench.Made(),
				Program: programName()}
			var written []string
			if folder != "" {
				if err := os.MkdirAll(folder, 0o777); err != nil {
					return err
				}
				for i, fill := range []func(io.Writer) error{
					wavOf(l.A, l.RateHz), wavOf(l.B, l.RateHz), wavOf(l.Pair.Difference, l.RateHz),
					func(w io.Writer) error { return page.Hearing(w, document) },
				} {
					if err := files[i].Write(fill); err != nil {
						return err
					}
					written = append(written, files[i].Path)
					c.warn("wrote %s", files[i].Path)
				}
				c.warn("%s", words.HearingCautions()[0])
			}
			return c.show(func(w io.Writer) error { return data.HearingJSON(w, *l, written) },
				func(w io.Writer) error { return terminal.Hearing(w, *l, screen.TableOptions(w)) }, unfit)
		},
	}, options.Options, fit.Options, output(
		text("out", "write both sounds, their difference and a page that plays them to the folder DIR", &folder),
		forceOption(&force), c.jsonOption("the difference")))
}

// soundFiles are the files of a listening in folder; none where that is empty.
func soundFiles(folder string, force bool) (files []outfile.File) {
	if folder == "" {
		return nil
	}
	for _, name := range []string{"a.wav", "b.wav", "difference.wav", "hear.html"} {
		files = append(files, outfile.File{Path: filepath.Join(folder, name), Option: "out", Force: force})
	}
	return files
}

// wavOf writes a sound as a WAV file.
func wavOf(s sound.Sound, rateHz int) func(io.Writer) error {
	return func(w io.Writer) error {
		text, err := s.WAV(rateHz, 24, outfile.MadeBy)
		if err != nil {
			return err
		}
		_, err = w.Write(text)
		return err
	}
}
