// Tested runs 'go test -json' commands side by side and tells what ran: a
// paragraph for each package with the names of its tests, all the output of
// those that failed, and the reasons of those that were skipped.
//
//	go run .ci/tested.go [-skips=forbid] 'go test -json ./...' ...
package main

import (
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"sync"
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

// count is what came of all packages.
type count struct {
	lock                              sync.Mutex // also of what is printed
	passed, subtests, failed, skipped int
}

func main() {
	skips := flag.String("skips", "allow", "what a skipped test is: allow or forbid")
	flag.Parse()
	var all count
	var wait sync.WaitGroup
	for _, command := range flag.Args() {
		wait.Go(func() {
			if err := all.run(command); err != nil {
				all.lock.Lock()
				defer all.lock.Unlock()
				fmt.Fprintf(os.Stderr, "tested: %s: %v\n", command, err)
				all.failed = max(all.failed, 1)
			}
		})
	}
	wait.Wait()
	fmt.Printf("%d tests with %d subtests passed, %d failed, %d skipped\n", all.passed, all.subtests, all.failed, all.skipped)
	if all.failed > 0 || all.passed == 0 || all.skipped > 0 && *skips == "forbid" {
		os.Exit(1)
	}
}

// run runs a command of the shell and reads what it writes.
func (c *count) run(command string) error {
	cmd := exec.Command("sh", "-c", command)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		return err
	}
	if err := cmd.Start(); err != nil {
		return err
	}
	if err := c.read(out); err != nil {
		io.Copy(io.Discard, out)
		cmd.Wait()
		return err
	}
	return cmd.Wait()
}

func (c *count) read(stream io.Reader) error {
	packages := map[string]*tests{}
	for d := json.NewDecoder(stream); ; {
		var e event
		if err := d.Decode(&e); errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return fmt.Errorf("not the output of 'go test -json': %w", err)
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
			if e.Action == "pass" || e.Action == "fail" || e.Action == "skip" {
				c.add(p, e)
				delete(packages, e.Package)
			}
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
}

// add counts a package that has ended with e, and prints it.
func (c *count) add(p *tests, e event) {
	c.lock.Lock()
	defer c.lock.Unlock()
	p.tell(e)
	c.passed += len(p.passed)
	c.subtests += p.subtests
	c.failed += len(p.failed)
	c.skipped += len(p.skipped)
	if e.Action == "fail" && len(p.failed) == 0 {
		c.failed++
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
