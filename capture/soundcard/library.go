//go:build cgo

package soundcard

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/gordonklaus/portaudio"
)

// How long to wait for PortAudio. A stalled device must be told within 3 s:
// stallLimit and stopLimit together, with some room.
const (
	listLimit  = 10 * time.Second // starting and listing: sound servers may have to wake
	startLimit = 2500 * time.Millisecond
	stallLimit = 1800 * time.Millisecond
	stopLimit  = 700 * time.Millisecond
)

// library guards PortAudio, which may be entered by one thread at a time, and
// counts its users.
var library struct {
	turn  sync.Mutex
	users int
}

// errHung is a call into PortAudio that did not return in time.
var errHung = errors.New("the sound system does not answer")

// enter calls f, which enters PortAudio, and waits for it no longer than limit
// or until ctx ends. f runs to its end nevertheless, when its turn comes; with
// abandoned set it must undo what it did, for nobody waits.
func enter(ctx context.Context, limit time.Duration, f func(abandoned *atomic.Bool) error) error {
	var abandoned atomic.Bool
	done := make(chan error, 1)
	go func() {
		library.turn.Lock()
		defer library.turn.Unlock()
		done <- f(&abandoned)
	}()
	timer := time.NewTimer(limit)
	defer timer.Stop()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
		abandoned.Store(true)
		return ctx.Err()
	case <-timer.C:
		abandoned.Store(true)
		return errHung
	}
}

// acquire starts PortAudio, or counts one more user of it. Each success needs
// one release.
func acquire(ctx context.Context, verbose bool) error {
	return enter(ctx, listLimit, func(abandoned *atomic.Bool) error {
		if abandoned.Load() {
			return nil
		}
		catchChatter(verbose)
		mark := markChatter()
		err := checkALSA()
		if err == nil {
			err = portaudio.Initialize()
		}
		if err != nil {
			if library.users == 0 {
				releaseChatter()
			}
			return withChatter(fmt.Errorf("the sound system cannot be started: %w", err), mark)
		}
		library.users++
		skipSmallStreamNumbers()
		if abandoned.Load() {
			leave()
		}
		return nil
	})
}

// release undoes one acquire.
func release() error {
	return enter(context.Background(), stopLimit, func(*atomic.Bool) error { return leave() })
}

// leave is release within a turn.
func leave() error {
	err := portaudio.Terminate()
	library.users--
	if library.users == 0 {
		releaseChatter()
	}
	return err
}

// skipSmallStreamNumbers uses up the numbers below 4096 that the binding would
// give to streams. It hands the number to C and back as a pointer, and Go's run
// time stops the program when it meets a pointer of that size while it moves a
// stack. A failed OpenStream uses up a number and does nothing else.
var skipSmallStreamNumbers = sync.OnceFunc(func() {
	for range 4096 {
		portaudio.OpenStream(portaudio.StreamParameters{})
	}
})

// withChatter adds what the C libraries had to say since the mark.
func withChatter(err error, mark chatter) error {
	lines := mark.lines(3)
	if err == nil || len(lines) == 0 {
		return err
	}
	return fmt.Errorf("%w\n  the sound libraries say: %s", err, strings.Join(lines, "; "))
}
