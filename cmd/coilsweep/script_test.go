package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/rogpeppe/go-internal/testscript"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"coilsweep/capture/atomicfile"
	"coilsweep/capture/soundcard"
	"coilsweep/cmd/coilsweep/internal/cli"
	"coilsweep/cmd/coilsweep/internal/published"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/report/schema"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"coilsweep": main})
}

// The scripts in testdata/script are the program as its user sees it. Some
// commands are added to those of testscript:
//
//	exits STATUS PROGRAM ARGS...      runs a program and wants that exit status, and of what
//	                                  it prints with --json that it keeps to its schema
//	grows FILE BYTES                  waits until a file has that size
//	finds FILE KEY TRUTH PERCENT      wants a quantity of a result.json within
//	                                  its U95 of the truth, and U95 that small
//	edit FILE PATTERN TEXT            puts a text where lines match, once at least
//	joins FILE FILES...               makes a file of others
//	sums FILE VARIABLE                has a variable hold a file's SHA-256
func TestScripts(t *testing.T) {
	t.Parallel()
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			"exits":  exits,
			"grows":  grows,
			"finds":  finds,
			"edit":   edit,
			"joins":  joins,
			"copies": copies,
			"sums":   sums,
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
	if printed := ts.ReadFile("stdout"); slices.Contains(args, "--json") && (got == 0 || got == 3) && printed != "" {
		if err := keepsToSchema(printed, args[2], slices.Contains(args, "--all")); err != nil {
			ts.Fatalf("%v", err)
		}
	}
}

// keepsToSchema holds what a command printed for programs against the schema that it names
// or, of a list, the schema of the command.
func keepsToSchema(printed, command string, all bool) error {
	instance, err := jsonschema.UnmarshalJSON(strings.NewReader(printed))
	if err != nil {
		return fmt.Errorf("this is not JSON: %w", err)
	}
	if object, ok := instance.(map[string]any); ok {
		id, _ := object["schema"].(string)
		command = strings.TrimSuffix(strings.TrimPrefix(id, "coilsweep."), "/1")
	} else if all && command == "fit" {
		command = "fit-all"
	}
	at := slices.IndexFunc(published.Formats(), func(f schema.Format) bool { return f.Name == command })
	if at < 0 {
		return fmt.Errorf("there is no format %q", command)
	}
	var text bytes.Buffer
	if err := published.Formats()[at].Write(&text); err != nil {
		return err
	}
	document, err := jsonschema.UnmarshalJSON(&text)
	if err != nil {
		return err
	}
	compiled, err := compile(command, document)
	if err != nil {
		return err
	}
	return compiled.Validate(instance)
}

// compile reads a schema by a validator from outside.
func compile(id string, document any) (*jsonschema.Schema, error) {
	compiler := jsonschema.NewCompiler()
	if err := compiler.AddResource(id, document); err != nil {
		return nil, err
	}
	return compiler.Compile(id)
}

// Every format has a schema by the rules of JSON Schema, with a name of its own and no address
// that does not exist, and a command that prints it.
func TestFormats(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for _, f := range published.Formats() {
		var text bytes.Buffer
		if status := cli.Run(t.Context(), []string{"schema", f.Name}, strings.NewReader(""), &text, &text); status != 0 {
			t.Fatalf("%s: status %d: %s", f.Name, status, text.String())
		}
		document, err := jsonschema.UnmarshalJSON(&text)
		if err != nil {
			t.Fatal(err)
		}
		id, _ := document.(map[string]any)["$id"].(string)
		if id != "coilsweep."+f.Name+"-1.schema.json" || seen[id] {
			t.Errorf("%s has the $id %q", f.Name, id)
		}
		seen[id] = true
		if draft := document.(map[string]any)["$schema"]; draft != "https://json-schema.org/draft/2020-12/schema" {
			t.Errorf("%s: $schema %v", f.Name, draft)
		}
		if _, err := compile(id, document); err != nil {
			t.Errorf("%s: %v", f.Name, err)
		}
	}
	// What is wrong is refused: a list of another kind, an object without its format, a key
	// too many.
	for printed, command := range map[string]string{`[{"folder":"a"}]`: "list", `{"coil":"a","meter":null}`: "crosscheck",
		`{"schema":"coilsweep.crosscheck/1","coil":"a","meter":null,"more":1}`: "crosscheck"} {
		if keepsToSchema(printed, command, false) == nil {
			t.Errorf("%s: taken as valid", printed)
		}
	}
	devices, err := json.Marshal(workbench.DeviceRecords([]soundcard.Device{{Name: "in", RatesHz: []int{48000}},
		{Trouble: "busy"}}))
	if err := errors.Join(err, keepsToSchema(string(devices), "devices", false)); err != nil {
		t.Error(err)
	}
	if err := keepsToSchema(`{"schema":"coilsweep.crosscheck/1","coil":"a","meter":null}`, "", false); err != nil {
		t.Error(err)
	}
}

func edit(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: edit FILE PATTERN TEXT")
	}
	pattern, err := regexp.Compile("(?m)" + args[1])
	ts.Check(err)
	text := ts.ReadFile(args[0])
	if !pattern.MatchString(text) {
		ts.Fatalf("%s has no %s", args[0], args[1])
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(pattern.ReplaceAllLiteralString(text, args[2])), 0o666))
}

func joins(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: joins FILE FILES...")
	}
	var all strings.Builder
	for _, name := range args[1:] {
		all.WriteString(ts.ReadFile(name))
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(all.String()), 0o666))
}

func sums(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: sums FILE VARIABLE")
	}
	ts.Setenv(args[1], atomicfile.Sum([]byte(ts.ReadFile(args[0]))))
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

// copies FOLDER NEW: a copy of a folder.
func copies(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: copies FOLDER NEW")
	}
	ts.Check(os.CopyFS(ts.MkAbs(args[1]), os.DirFS(ts.MkAbs(args[0]))))
}

func finds(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 4 {
		ts.Fatalf("usage: finds FILE KEY TRUTH PERCENT")
	}
	truth, err := strconv.ParseFloat(args[2], 64)
	ts.Check(err)
	percent, err := strconv.ParseFloat(args[3], 64)
	ts.Check(err)
	result := map[string]json.RawMessage{}
	ts.Check(json.Unmarshal([]byte(ts.ReadFile(args[0])), &result))
	var q struct {
		Value, U95 *float64
		Why        string
	}
	ts.Check(json.Unmarshal(result[args[1]], &q))
	switch {
	case q.Value == nil || q.U95 == nil:
		ts.Fatalf("%s is not known: %s", args[1], q.Why)
	case math.Abs(*q.Value-truth) > *q.U95:
		ts.Fatalf("%s is %g ± %g, and the truth %g", args[1], *q.Value, *q.U95, truth)
	case *q.U95 > percent/100*truth:
		ts.Fatalf("%s is known to %.2g %%, want %g %%", args[1], *q.U95/truth*100, percent)
	}
}

// The script of the demo runs what the Makefile's demo runs.
func TestDemoScriptIsTheMakefiles(t *testing.T) {
	commands := func(path string, is func(line string) (string, bool)) (list []string) {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for line := range strings.Lines(strings.ReplaceAll(string(text), "\\\n", "")) {
			if command, ok := is(strings.TrimSpace(line)); ok {
				list = append(list, strings.Join(strings.Fields(strings.ReplaceAll(command, `"`, "'")), " "))
			}
		}
		return list
	}
	script := commands("testdata/script/demo.txt", func(line string) (string, bool) {
		return strings.CutPrefix(line, "exits 0 coilsweep ")
	})
	demo := ""
	made := commands("../../Makefile", func(line string) (string, bool) {
		if text, ok := strings.CutPrefix(line, "DEMO := bin/coilsweep "); ok {
			demo = text
		}
		if rest, ok := strings.CutPrefix(line, "$(DEMO) "); ok {
			return demo + " " + rest, true
		}
		return strings.CutPrefix(line, "bin/coilsweep ")
	})
	if diff := cmp.Diff(made, script); diff != "" || len(made) < 6 {
		t.Errorf("commands of the Makefile (-) and of the script (+):\n%s", diff)
	}
}

// size of the file at path, -1 where there is none.
func size(path string) int64 {
	info, err := os.Stat(path)
	if err != nil {
		return -1
	}
	return info.Size()
}
