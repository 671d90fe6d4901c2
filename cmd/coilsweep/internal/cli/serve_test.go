package cli

import "testing"

func TestOnlyHere(t *testing.T) {
	for listen, here := range map[string]bool{"127.0.0.1:1": true, "[::1]:1": true, "localhost:1": true, ":1": false,
		"0.0.0.0:1": false, "192.0.2.1:1": false, "bench.example:1": false} {
		if got := onlyHere(listen); got != here {
			t.Errorf("%s: only here %v, want %v", listen, got, here)
		}
	}
}
