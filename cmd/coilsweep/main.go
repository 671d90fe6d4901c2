// Coilsweep measures what a guitar pickup's coil really does: its resonance
// and Q, and the inductance, capacitance and resistance behind them, with a
// sound card, an exciter coil and a few known parts. See 'coilsweep --help'.
package main

import (
	"context"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"

	"coilsweep/cmd/coilsweep/internal/cli"
)

func main() {
	// Audio and transforms make a few large pieces of garbage: collect them
	// earlier than usual, for a smaller peak at little cost in time.
	debug.SetGCPercent(50)
	// Long recordings would leave much garbage even so: from here on memory counts
	// more than time.
	debug.SetMemoryLimit(300 << 20)
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	// A second Ctrl-C ends a program that does not listen to the first.
	context.AfterFunc(ctx, stop)
	os.Exit(cli.Run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}
