package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"os"
	"path/filepath"
	"strconv"

	"github.com/spf13/cobra"

	"coilsweep/capture"
	"coilsweep/capture/virtual"
)

// serving are the options of 'serve'.
type serving struct {
	listen      string
	hosts       []string
	bench       string
	virtualFile string
	seed        uint64
}

func newServe(c *console) *cobra.Command {
	var o serving
	cmd := &cobra.Command{
		Use:   "serve [ROOT]",
		Short: "Open the bench page: the whole job in a browser, from a new coil to its report",
		Long: `Serve the bench page for the coil folders below ROOT (default: this folder):
devices and levels, takes with the response drawn as the sweeps come in, results,
the coil in a guitar, comparisons, reports. The address that is printed carries
the key to it; open it in a browser on this machine. Everything is kept in the
files that the other commands use, below ROOT and nowhere else. Ctrl-C ends it;
a take under way is ended then, and what was recorded is kept.

With --bench virtual the page works on the simulated bench, for learning; it
can be switched in the page.

The page is for this machine alone. With --listen it can be reached from others,
say a tablet at the bench: what is sent is not encrypted then, and who has the
address with its key can play sounds and write into ROOT.`,
		Example: `  coilsweep serve shop
  coilsweep serve shop --bench virtual
  coilsweep serve shop --listen 192.168.1.20:8137 --host bench.local`,
		Args: atMostOneArg("the folder ROOT"),
		RunE: c.body(func(cmd *cobra.Command, args []string) error {
			root := "."
			if len(args) == 1 {
				root = args[0]
			}
			return o.run(cmd.Context(), c, root)
		}),
	}
	f := cmd.Flags()
	f.StringVar(&o.listen, "listen", "127.0.0.1:8137", "address and port to listen on; port 0: any that is free")
	f.StringArrayVar(&o.hosts, "host", nil, "a further name that the page may be opened by (may be repeated)")
	f.StringVar(&o.bench, "bench", "soundcard", "what plays and records at first: soundcard, or virtual for the simulated bench")
	f.StringVar(&o.virtualFile, "virtual-file", "", "description of the simulated bench (default: an invented one)")
	f.Uint64Var(&o.seed, "seed", 1, "seed of the simulated noise")
	return cmd
}

// check refuses what cannot be served, and gives the whole path of root.
func (o *serving) check(root string) (string, error) {
	if o.bench != "soundcard" && o.bench != "virtual" {
		return "", usagef("--bench %s: want soundcard or virtual", o.bench)
	}
	if _, port, err := net.SplitHostPort(o.listen); err != nil {
		return "", usagef("--listen %s: want an address with its port, such as 127.0.0.1:8137", o.listen)
	} else if _, err := strconv.ParseUint(port, 10, 16); err != nil {
		return "", usagef("--listen %s: want a port from 0 to 65535, not %q", o.listen, port)
	}
	if o.virtualFile != "" {
		if _, err := virtual.Load(o.virtualFile); err != nil {
			return "", err
		}
	}
	info, err := os.Stat(root)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return "", fmt.Errorf("there is no folder %s: make it first, or name another", root)
	case err != nil:
		return "", err
	case !info.IsDir():
		return "", fmt.Errorf("%s is a file: name the folder that holds the coil folders", root)
	}
	if _, err := capture.OpenFolder(root); !errors.Is(err, capture.ErrNotFolder) {
		return "", usagef("%s is itself a coil folder: serve the folder above it", root)
	}
	if root, err = filepath.Abs(root); err == nil {
		root, err = filepath.EvalSymlinks(root)
	}
	return root, err
}

// onlyHere tells whether an address can be reached from this machine alone.
func onlyHere(listen string) bool {
	host, _, _ := net.SplitHostPort(listen)
	addr, err := netip.ParseAddr(host)
	return host == "localhost" || err == nil && addr.IsLoopback()
}

func (o *serving) run(ctx context.Context, c *console, root string) error {
	root, err := o.check(root)
	if err != nil {
		return err
	}
	w, err := newWorkshop(c, root, o)
	if err != nil {
		return err
	}
	if !onlyHere(o.listen) {
		c.warn("the page can be reached from other machines: what is sent is not encrypted, and who has its address with the key can play sounds and write into %s", root)
	}
	fmt.Fprintln(c.out, w.page.URL())
	for _, url := range w.page.OtherURLs() {
		c.warn("from other machines: %s", url)
	}
	c.warn("open this address in a browser; Ctrl-C ends the page")
	return w.serve(ctx)
}
