// Package desk is work at the bench that goes on by what somebody types there: the
// takes of a coil one after the other, and the coils of a lot.
package desk

import (
	"bufio"
	"context"
	"io"
	"strings"
)

// Desk is where somebody sits: what is typed or scanned, and what is said and heard there.
type Desk struct {
	In   io.Reader
	Say  func(format string, args ...any)
	Bell func(times int)

	lines <-chan string
}

// Ask says something and waits for a line; io.EOF: there is nobody any more.
func (d *Desk) Ask(ctx context.Context, format string, args ...any) (string, error) {
	if d.lines == nil {
		lines := make(chan string)
		d.lines = lines
		go func() { // ends with the program: nothing stops a reading
			defer close(lines)
			for in := bufio.NewScanner(d.In); in.Scan(); {
				lines <- strings.TrimSpace(in.Text())
			}
		}()
	}
	d.Say(format, args...)
	select {
	case line, ok := <-d.lines:
		if !ok {
			return "", io.EOF
		}
		return line, nil
	case <-ctx.Done():
		return "", ctx.Err()
	}
}
