package cli

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/netip"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"coilsweep/capture"
	"coilsweep/cmd/coilsweep/internal/keyfile"
	"coilsweep/cmd/coilsweep/internal/screen"
	"coilsweep/cmd/coilsweep/internal/web"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/report/qr"
)

func newServe(c *console) *cobra.Command {
	open, keyFile := false, ""
	o := web.Options{Listen: "127.0.0.1:8137", Bench: workbench.SoundCard, Seed: 1, Program: programName()}
	return c.command(&cobra.Command{
		Use:   "serve [ROOT]",
		Short: "Open the bench page: the whole job in a browser, from a new coil to its report",
		Long: `Serve the bench page for the coil folders below ROOT (default: this folder):
devices and levels, takes with the response drawn as the sweeps come in, results,
the coil in a guitar, comparisons, reports. The address that is printed carries
the key to it; open it in a browser on this machine. Everything is kept in the
files that the other commands use, below ROOT and nowhere else. Ctrl-C ends it, and
any take under way; the audio recorded so far is kept.

With --bench virtual the page works on the simulated bench, for practice; you can
switch in the page.

The page is for this machine alone. With --listen other machines can open it too,
such as a tablet at the bench: a terminal shows their address as a QR code. The connection is not encrypted then, and anyone with
the address and its key can play sounds and write into ROOT.`,
		Example: `  coilsweep serve shop
  coilsweep serve shop --bench virtual
  coilsweep serve shop --listen 192.168.1.20:8137 --host bench.local
  coilsweep serve shop --listen 192.168.1.20:8137 --key-file ~/.coilsweep-key`,
		Args: atMostOneArg("the folder ROOT"),
		RunE: func(cmd *cobra.Command, args []string) error {
			var err error
			if o.Root, err = servedRoot(append(args, ".")[0]); err != nil {
				return err
			}
			if err := checkServing(&o); err != nil {
				return err
			}
			if keyFile != "" {
				if o.Key, err = keyfile.Kept(keyFile); err != nil {
					return err
				}
			}
			o.Warn = func(text string) { c.warn("%s", text) }
			c.mendBelow(cmd.Context(), o.Root)
			server, err := web.New(o)
			if err != nil {
				return err
			}
			if !onlyHere(o.Listen) {
				c.warn("other machines can open the page: the connection is not encrypted, and anyone with the "+
					"address and its key can play sounds and write into %s", o.Root)
			}
			fmt.Fprintln(c.out, server.URL())
			for _, url := range server.OtherURLs() {
				c.warn("from other machines: %s", url)
			}
			showCode(c.err, server.TabletURL())
			if err := openPage(open, server.URL()); err != nil {
				c.warn("cannot open the browser: %v", err)
				open = false
			}
			if open {
				c.warn("the page opens in the browser; Ctrl-C ends it")
			} else {
				c.warn("open this address in a browser; Ctrl-C ends the page")
			}
			return server.Serve(cmd.Context())
		},
	}, workbench.Options{
		on("open", "open the page in the browser", &open),
		text("key-file", "keep the key in this file, for the next starts (default: a new key at each start)", &keyFile),
		text("listen", "address and port to listen on; port 0: any free one", &o.Listen),
		{Name: "host", Value: workbench.TextList(&o.Hosts),
			Help: "a further name that the page may be opened by (may be repeated)"},
		{Name: "bench", Value: workbench.Choice(&o.Bench, workbench.SoundCard, workbench.Virtual),
			Help: "what plays and records at first: soundcard, or virtual for the simulated bench"},
		text("virtual-file", "description of the simulated bench (default: an invented one)", &o.VirtualFile),
		{Name: "seed", Value: workbench.Counting(&o.Seed),
			Help: "noise sequence of the simulated bench: the same number gives the same noise"},
	})
}

// showCode shows an address on a terminal as a QR code, for a tablet's camera; nothing
// elsewhere, and where there is no room for it.
func showCode(w io.Writer, url string) {
	width, _ := screen.WidthOf(w)
	if url == "" || width == 0 || screen.TableOptions(w).ASCII {
		return
	}
	code, err := qr.Terminal(url)
	line, _, _ := strings.Cut(code, "\n")
	if err != nil || strings.Count(line, "")-1-len("\x1b[30;107m\x1b[0m") > width {
		return
	}
	io.WriteString(w, code)
}

// openPage shows the page in the browser where that is wanted.
func openPage(wanted bool, url string) error {
	if !wanted {
		return nil
	}
	words := screen.Opener(url)
	browser := exec.Command(words[0], words[1:]...)
	if err := browser.Start(); err != nil {
		return err
	}
	go browser.Wait()
	return nil
}

// fromDesktop is what a double click on the program does: it opens the bench page for
// the folder coilsweep of the user's home, and lets nothing vanish unread.
func fromDesktop(ctx context.Context, stdin io.Reader, stdout, stderr io.Writer) int {
	status := exitFail
	home, err := os.UserHomeDir()
	shop := filepath.Join(home, "coilsweep")
	if err == nil {
		err = os.MkdirAll(shop, 0o777)
	}
	if err == nil {
		status = Run(ctx, []string{"serve", shop, "--open"}, stdin, stdout, stderr)
	} else {
		fmt.Fprintln(stderr, "coilsweep:", err)
	}
	if status != exitDone {
		fmt.Fprintln(stderr, "Press Enter to close this window.")
		bufio.NewReader(stdin).ReadString('\n')
	}
	return status
}

// checkServing refuses what cannot be served.
func checkServing(o *web.Options) error {
	if _, port, err := net.SplitHostPort(o.Listen); err != nil {
		return usagef("--listen %s: want an address with its port, such as 127.0.0.1:8137", o.Listen)
	} else if _, err := strconv.ParseUint(port, 10, 16); err != nil {
		return usagef("--listen %s: want a port from 0 to 65535, not %q", o.Listen, port)
	}
	if o.VirtualFile == "" {
		return nil
	}
	if _, err := workbench.LoadVirtual(o.VirtualFile); err != nil {
		return err
	}
	var err error
	o.VirtualFile, err = filepath.Abs(o.VirtualFile)
	return err
}

// servedRoot is the whole path of root, if it can be served.
func servedRoot(root string) (string, error) {
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
