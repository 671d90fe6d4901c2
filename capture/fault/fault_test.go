package fault

import (
	"errors"
	"strings"
	"testing"
)

func breaks() { panic("the pen broke") }

// A panic is an error with the trace of where it came from, also out of another
// goroutine; an error stays what it is.
func TestCatch(t *testing.T) {
	for name, do := range map[string]func(){
		"here":      breaks,
		"elsewhere": func() { Parallel(3, breaks) },
	} {
		err := func() (err error) {
			defer Catch(&err, "writing ended")
			do()
			return nil
		}()
		fault, ok := errors.AsType[*Error](err)
		if !ok || err.Error() != "writing ended by a fault of the program: the pen broke" {
			t.Fatalf("%s: %v", name, err)
		}
		if !strings.Contains(string(fault.Trace), "fault.breaks") {
			t.Errorf("%s: the trace does not lead there:\n%s", name, fault.Trace)
		}
	}
	none := errors.New("no ink")
	if err := func() (err error) { defer Catch(&err, "writing ended"); return none }(); !errors.Is(err, none) {
		t.Errorf("error without a panic: %v", err)
	}
}
