package main

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"coilsweep/cmd/coilsweep/internal/cli"
)

// The script in an archive, run by Python's standard library alone: L from the line is that
// of result.json to the digits printed, the figure shows every take, and a file that was
// damaged or an L that is not that of the takes ends it with status 1.
func TestScriptOfArchive(t *testing.T) {
	t.Parallel()
	python, err := exec.LookPath("python3")
	if err != nil {
		if testing.Short() {
			t.Skip("python3 is not installed")
		}
		t.Fatal("python3 is not installed: run 'make deps', or the tests with -short")
	}
	root := t.TempDir()
	path := func(name string) string { return filepath.Join(root, name) }
	do := func(args ...string) {
		t.Helper()
		var said strings.Builder
		if status := cli.Run(t.Context(), args, nil, &said, &said); status != 0 {
			t.Fatalf("%q: status %d\n%s", args, status, said.String())
		}
	}
	do("stimulus", path("sweep.wav"), "--duration", "0.35s", "--repeats", "2")
	do("new", path("coil"), "--name", "Invented <coil>", "--dcr", "7.85k@20C 0.5%")
	for _, load := range [][]string{{"bare"}, {"C220", "--added-c", "220p 1%"}, {"C470", "--added-c", "470p 1%"},
		{"R100", "--added-r", "100k 1%"}} {
		do(append([]string{"measure", path("coil"), "--bench", "virtual", "--stimulus", path("sweep.toml"), "--fixture-c",
			"65p 1p", "--fixture-r", "1M 1%", "--take"}, load...)...)
	}
	do("export", path("coil"), path("coil.zip"), "--model", "two rings")
	files := map[string][]byte{}
	archive, err := zip.OpenReader(path("coil.zip"))
	if err != nil {
		t.Fatal(err)
	}
	defer archive.Close()
	for _, f := range archive.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		if files[f.Name], err = io.ReadAll(r); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(path("read.py"), files["read.py"], 0o666); err != nil {
		t.Fatal(err)
	}
	run := func(archive string, want int) string {
		t.Helper()
		c := exec.CommandContext(t.Context(), python, "-I", "-W", "error", path("read.py"), path(archive),
			path("figure.svg"))
		out, err := c.CombinedOutput()
		if c.ProcessState == nil || c.ProcessState.ExitCode() != want {
			t.Fatalf("%v, want status %d\n%s", err, want, out)
		}
		return string(out)
	}
	var result struct {
		Inductance struct{ Value float64 } `json:"inductance_h"`
	}
	if err := json.Unmarshal(files["result.json"], &result); err != nil {
		t.Fatal(err)
	}
	said := run("coil.zip", 0)
	t.Log(said)
	henry := strconv.FormatFloat(result.Inductance.Value, 'g', 9, 64)
	if found := regexp.MustCompile(`from the line of the fit ([0-9.]+) H`).FindStringSubmatch(said); found == nil ||
		found[1] != strings.TrimRight(henry, "0") && found[1] != henry {
		t.Errorf("L is %s H, the script says\n%s", henry, said)
	}
	figure, err := os.ReadFile(path("figure.svg"))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Invented &lt;coil>", ">bare<", ">C220<", ">C470<", ">R100<"} {
		if !bytes.Contains(figure, []byte(want)) {
			t.Errorf("no %q in the figure", want)
		}
	}
	if n := bytes.Count(figure, []byte("<polyline")); n != 4 {
		t.Errorf("%d curves, want 4", n)
	}

	// Another L, first with the checksums as they were, then with its own.
	value := func(henry float64) []byte { return []byte(fmt.Sprintf(`"value": %v`, henry)) }
	files["result.json"] = bytes.Replace(files["result.json"], value(result.Inductance.Value),
		value(1.001*result.Inductance.Value), 1)
	pack := func(name string) {
		var b bytes.Buffer
		to := zip.NewWriter(&b)
		for name, text := range files {
			w, err := to.Create(name)
			if err != nil {
				t.Fatal(err)
			}
			w.Write(text)
		}
		if err := to.Close(); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path(name), b.Bytes(), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	pack("damaged.zip")
	if said := run("damaged.zip", 1); !strings.Contains(said, "result.json is damaged") {
		t.Errorf("damaged: %s", said)
	}
	files["SHA256SUMS"] = regexp.MustCompile(`(?m)^[0-9a-f]+(  result\.json)$`).ReplaceAll(files["SHA256SUMS"],
		[]byte(fmt.Sprintf("%x$1", sha256.Sum256(files["result.json"]))))
	pack("changed.zip")
	if said := run("changed.zip", 1); !strings.Contains(said, "L from the line is not that of result.json") {
		t.Errorf("changed: %s", said)
	}
}
