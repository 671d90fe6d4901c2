// Tested reads what 'go test -json' writes and tells what ran: a paragraph for
// each package with the names of its tests, all the output of those that
// failed, and the reasons of those that were skipped.
//
//	go test -json ./... | go run .ci/tested.go [-skips=forbid]
package main

import (
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"strings"
)

// event is one line of 'go test -json'; see 'go doc test2json'.
type event struct {
	Action, Package, ImportPath, Test, Output string
	Elapsed                                   float64
}

// tests is what is known of one package.
type tests struct {
	passed, skipped, failed []string
	subtests                int
	output                  map[string]*strings.Builder
}

func main() {
	skips := flag.String("skips", "allow", "what a skipped test is: allow or forbid")
	flag.Parse()
	packages := map[string]*tests{}
	var passed, subtests, failed, skipped int
	for d := json.NewDecoder(os.Stdin); ; {
		var e event
		if err := d.Decode(&e); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			fmt.Fprintln(os.Stderr, "tested: not the output of 'go test -json':", err)
			os.Exit(1)
		}
		p := packages[e.Package]
		if p == nil {
			p = &tests{output: map[string]*strings.Builder{}}
			packages[e.Package] = p
		}
		switch {
		case e.Action == "build-output":
			fmt.Print(e.Output)
		case e.Action == "output":
			if p.output[e.Test] == nil {
				p.output[e.Test] = &strings.Builder{}
			}
			if !strings.HasPrefix(e.Output, "=== ") {
				p.output[e.Test].WriteString(e.Output)
			}
		case e.Test == "":
			if e.Action != "pass" && e.Action != "fail" && e.Action != "skip" {
				continue
			}
			p.tell(e)
			passed += len(p.passed)
			subtests += p.subtests
			failed += len(p.failed)
			skipped += len(p.skipped)
			if e.Action == "fail" && len(p.failed) == 0 {
				failed++
			}
			delete(packages, e.Package)
		case e.Action == "fail":
			p.failed = append(p.failed, e.Test)
		case e.Action == "skip":
			p.skipped = append(p.skipped, e.Test)
		case e.Action == "pass" && strings.Contains(e.Test, "/"):
			p.subtests++
		case e.Action == "pass":
			p.passed = append(p.passed, e.Test)
		}
	}
	fmt.Printf("%d tests with %d subtests passed, %d failed, %d skipped\n", passed, subtests, failed, skipped)
	if failed > 0 || passed == 0 || skipped > 0 && *skips == "forbid" {
		os.Exit(1)
	}
}

// tell prints a package that has ended with e.
func (p *tests) tell(e event) {
	if e.Action == "skip" {
		fmt.Printf("--   %s: no tests\n", e.Package)
		return
	}
	fmt.Printf("%-4s %s: %d tests, %d subtests, %.1f s\n", map[string]string{"pass": "ok", "fail": "FAIL"}[e.Action],
		e.Package, len(p.passed), p.subtests, e.Elapsed)
	line := "    "
	for _, name := range p.passed {
		if len(line)+len(name) > 98 {
			fmt.Println(line)
			line = "    "
		}
		line += " " + name
	}
	if len(p.passed) > 0 {
		fmt.Println(line)
	}
	for _, name := range p.skipped {
		fmt.Printf("     skipped: %s\n%s", name, p.output[name])
	}
	for _, name := range p.failed {
		fmt.Printf("     failed: %s\n%s", name, p.output[name])
	}
	if e.Action == "fail" && p.output[""] != nil {
		fmt.Print(p.output[""])
	}
}
