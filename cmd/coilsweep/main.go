// Coilsweep measures what a guitar pickup's coil really does: its resonance
// and Q, and the inductance, capacitance and resistance behind them, with a
// sound card, an exciter coil and a few known parts. See 'coilsweep --help'.
package main

import (
	"context"
	"fmt"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"
	"time"

	"coilsweep/cmd/coilsweep/internal/cli"
)

// toEnd is the time that a command has to end by itself when it is told to.
const toEnd = 600 * time.Millisecond

func main() {
	// Audio and transforms make a few large pieces of garbage: collect them
	// earlier than usual, for a smaller peak at little cost in time. Who sets GOGC has
	// asked for another balance of the two.
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(25)
	}
	// Long recordings would leave much garbage even so: from here on memory counts
	// more than time.
	debug.SetMemoryLimit(300 << 20)
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	// A second Ctrl-C ends a program that does not listen to the first.
	context.AfterFunc(ctx, stop)
	terminated, broken := make(chan os.Signal, 1), make(chan os.Signal, 1)
	signal.Notify(terminated, syscall.SIGTERM)
	go func() {
		// What must be kept is on the disk at any time.
		<-terminated
		time.Sleep(toEnd)
		fmt.Fprintln(os.Stderr, "coilsweep: ended before it was done")
		os.Exit(1)
	}()
	// Nobody may listen any more to what is printed: a take goes on all the same.
	signal.Notify(broken, syscall.SIGPIPE)
	os.Exit(cli.Run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}
