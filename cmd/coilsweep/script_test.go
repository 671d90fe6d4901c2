package main

import (
	"errors"
	"os"
	"os/exec"
	"strconv"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"coilsweep": main})
}

// The scripts in testdata/script are the program as its user sees it. Two
// commands are added to those of testscript:
//
//	exits STATUS PROGRAM ARGS...   runs a program and wants that exit status
//	grows FILE BYTES               waits until a file has that size
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			"exits": exits,
			"grows": grows,
		},
	})
}

func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits STATUS PROGRAM ARGS...")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	got := 0
	if err := ts.Exec(args[1], args[2:]...); err != nil {
		var exit *exec.ExitError
		if !errors.As(err, &exit) {
			ts.Fatalf("%v", err)
		}
		got = exit.ExitCode()
	}
	if got != want {
		ts.Fatalf("exit status %d, want %d", got, want)
	}
}

func grows(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: grows FILE BYTES")
	}
	want, err := strconv.ParseInt(args[1], 10, 64)
	ts.Check(err)
	for deadline := time.Now().Add(20 * time.Second); time.Now().Before(deadline); time.Sleep(5 * time.Millisecond) {
		if size(ts.MkAbs(args[0])) >= want {
			return
		}
	}
	ts.Fatalf("%s has %d bytes after 20 s, want %d", args[0], size(ts.MkAbs(args[0])), want)
}

// size of the file at path, -1 where there is none.
func size(path string) int64 {
	info, err := os.Stat(path)
	if err != nil {
		return -1
	}
	return info.Size()
}
