// Package fault turns panics into errors, so that a fault of the program ends a job
// and not the program, and is told in a sentence.
package fault

import (
	"fmt"
	"runtime/debug"
	"sync"
)

// Error is a panic.
type Error struct {
	What  string // what it ended, as the beginning of a sentence: "take bare broke off"
	Panic any
	Trace []byte // of the goroutine that panicked
}

func (e *Error) Error() string {
	return fmt.Sprintf("%s by a fault of the program: %v", e.What, e.Panic)
}

// Catch is deferred: it puts a panic of the function into its err.
func Catch(err *error, what string) {
	switch p := recover().(type) {
	case nil:
	case *Error: // of another goroutine, with the trace that matters
		*err = &Error{what, p.Panic, p.Trace}
	default:
		*err = &Error{what, p, debug.Stack()}
	}
}

// Parallel calls work in n goroutines and waits for them. A panic in one reaches
// the caller, as an *Error.
func Parallel(n int, work func()) {
	errs := make([]error, n)
	var wait sync.WaitGroup
	for i := range n {
		wait.Go(func() {
			defer Catch(&errs[i], "one of several goroutines ended")
			work()
		})
	}
	wait.Wait()
	for _, err := range errs {
		if err != nil {
			panic(err)
		}
	}
}
