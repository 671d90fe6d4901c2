package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"coilsweep/capture"
	"coilsweep/fit"
	"coilsweep/report/data"
	"coilsweep/report/terminal"
	"coilsweep/report/words"
)

func newList(c *console) *cobra.Command {
	var pick listFilter
	var sortKey string
	var descending, asJSON, asCSV bool
	var decimal decimalFlag
	cmd := &cobra.Command{
		Use:   "list [ROOT]",
		Short: "List the coils below a folder with resonance, L, C, R, Q and flags",
		Long: `List the coils at and below ROOT (default: this folder), each with the date of
its latest take, its resonance, Q, L, C and R, its flags, and whether its
result is fresh. A result is stale where coil.toml or a take was added, removed
or changed since, or where another version of the program made it;
'coilsweep fit --all' makes it anew.`,
		Example: `  coilsweep list bench
  coilsweep list bench --sort resonance --match bridge
  coilsweep list bench --flag hum --since 2026-01-01
  coilsweep list bench --csv > coils.csv`,
		Args: atMostOneArg("the folder ROOT"),
		RunE: c.body(func(cmd *cobra.Command, args []string) error {
			if asJSON && asCSV {
				return usagef("--json and --csv contradict each other")
			}
			if err := decimal.needs(cmd, "csv"); err != nil {
				return err
			}
			if err := pick.parse(); err != nil {
				return err
			}
			if !slices.Contains(words.ListKeys(), sortKey) {
				return usagef("--sort %s: want one of %s", sortKey, strings.Join(words.ListKeys(), ", "))
			}
			root := "."
			if len(args) == 1 {
				root = args[0]
			}
			list, err := listCoils(cmd.Context(), c, root)
			if err != nil {
				return err
			}
			list = slices.DeleteFunc(list, func(l words.Listed) bool { return !pick.wants(l) })
			words.SortList(list, sortKey, descending)
			switch {
			case asJSON:
				return data.ListJSON(c.out, list)
			case asCSV:
				return data.ListCSV(c.out, list, decimal.options())
			case len(list) == 0:
				c.warn("no coil below %s is to be listed", root)
				return nil
			}
			return terminal.List(c.out, list, tableOptions(c.out, false))
		}),
	}
	f := cmd.Flags()
	f.StringVar(&sortKey, "sort", "folder", "sort by "+strings.Join(words.ListKeys(), ", "))
	f.BoolVar(&descending, "descending", false, "largest or latest first")
	f.StringVar(&pick.match, "match", "", "only coils whose name or folder contains this")
	f.StringArrayVar(&pick.flags, "flag", nil, "only coils with a take that carries this flag (may be repeated)")
	f.StringVar(&pick.sinceText, "since", "", "only coils measured on this day or later, 2026-01-31")
	f.StringVar(&pick.untilText, "until", "", "only coils measured on this day or earlier")
	f.BoolVar(&pick.stale, "stale", false, "only coils whose result is missing or stale")
	f.BoolVar(&asJSON, "json", false, "print JSON")
	f.BoolVar(&asCSV, "csv", false, "print CSV")
	decimal.add(cmd, "--csv")
	return cmd
}

// atMostOneArg wants one argument or none.
func atMostOneArg(what string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) == 0 {
			return nil
		}
		return oneArg(what)(cmd, args)
	}
}

// listFilter says which coils are listed.
type listFilter struct {
	match                string
	flags                []string
	sinceText, untilText string
	since, until         time.Time // zero: no bound
	stale                bool
}

func (f *listFilter) parse() error {
	for _, d := range []struct {
		flag, text string
		to         *time.Time
	}{{"since", f.sinceText, &f.since}, {"until", f.untilText, &f.until}} {
		if d.text == "" {
			continue
		}
		day, err := time.ParseInLocation("2006-01-02", d.text, time.Local)
		if err != nil {
			return usagef("--%s %q: want a day such as 2026-01-31", d.flag, d.text)
		}
		*d.to = day
	}
	if !f.until.IsZero() {
		f.until = f.until.AddDate(0, 0, 1)
	}
	return nil
}

func (f *listFilter) wants(l words.Listed) bool {
	text := strings.ToLower(f.match)
	if !strings.Contains(strings.ToLower(l.Coil), text) && !strings.Contains(strings.ToLower(l.Folder), text) {
		return false
	}
	for _, flag := range f.flags {
		if !slices.Contains(l.Flags, flag) {
			return false
		}
	}
	if !f.since.IsZero() && l.Measured.Before(f.since) || !f.until.IsZero() && !l.Measured.Before(f.until) {
		return false
	}
	return !f.stale || l.Takes > 0 && (l.Result == nil || len(l.Stale) > 0)
}

// listCoils reads what is known of every coil below root, on all cores. Coils
// that cannot be read are warned of and left out.
func listCoils(ctx context.Context, c *console, root string) ([]words.Listed, error) {
	dirs, unreadable, err := capture.FindFolders(ctx, root)
	if err != nil {
		return nil, err
	}
	for _, err := range unreadable {
		c.warn("%v", err)
	}
	found := make([]words.Listed, len(dirs))
	failed := make([]error, len(dirs))
	work := make(chan int)
	var wait sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wait.Go(func() {
			for i := range work {
				found[i], failed[i] = listCoil(dirs[i])
			}
		})
	}
	for i := range dirs {
		if ctx.Err() != nil {
			break
		}
		work <- i
	}
	close(work)
	wait.Wait()
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	var list []words.Listed
	for i, l := range found {
		if failed[i] != nil {
			c.warn("%v", failed[i])
			continue
		}
		list = append(list, l)
	}
	return list, nil
}

// listCoil reads the folder of one coil. A damaged result is as good as none.
func listCoil(dir string) (words.Listed, error) {
	folder, err := capture.OpenFolder(dir)
	if err != nil {
		return words.Listed{}, err
	}
	held, err := folder.Fingerprint()
	if err != nil {
		return words.Listed{}, fmt.Errorf("%s: %w", dir, err)
	}
	l := words.Listed{Folder: dir, Coil: folder.Coil.Name, Takes: len(held.Takes)}
	var record *fit.Record
	if l.Result, err = loadResult(dir); err == nil && l.Result != nil {
		l.Stale = l.Result.Stale(held, programName())
		record = l.Result.Record
	}
	flag := func(name capture.Flag) {
		if !slices.Contains(l.Flags, string(name)) {
			l.Flags = append(l.Flags, string(name))
		}
	}
	for _, h := range held.Takes {
		// What was read when the coil was fitted need not be read again.
		var heading capture.TakeHeading
		if t, ok := record.Take(h); ok && t.Started != nil {
			heading = capture.TakeHeading{Started: *t.Started, Flags: t.Flags}
		} else if heading, err = folder.ReadHeading(h.Name); err != nil {
			flag(flagUnreadable)
			continue
		}
		if heading.Started.After(l.Measured) {
			l.Measured = heading.Started
		}
		for _, name := range heading.Flags {
			flag(name)
		}
	}
	return l, nil
}

// loadResult reads the result.json of a coil folder; nil where there is none.
func loadResult(dir string) (*fit.Result, error) {
	path := filepath.Join(dir, "result.json")
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	} else if err != nil {
		return nil, err
	}
	var r fit.Result
	if err := json.Unmarshal(data, &r); err != nil {
		return nil, fmt.Errorf("%s: %w: make it anew with 'coilsweep fit'", path, err)
	}
	return &r, nil
}
