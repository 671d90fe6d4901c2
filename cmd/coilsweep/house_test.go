package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"
)

// floors is the house from the ground up: a package imports from the floors
// below its own, never from its own or from above. excite, capture, fit and
// report follow each other, and the command stands on top.
var floors = [][]string{
	{"capture/rooted"},
	{"capture/atomicfile"},
	{"excite/quantity", "capture/wav", "capture/flac", "capture/tomlkey", "capture/internal/effort", "capture/instrument",
		"capture/fault", "fit/circuit", "fit/leastsquares", "report/plot", "report/loudness",
		"report/pluck", "report/qr"},
	{"excite/exciter", "capture/benchfile", "capture/partsfile"},
	{"excite"},
	{"capture/align"},
	{"capture"},
	{"capture/quality"},
	{"capture/record"},
	{"capture/soundcard", "capture/virtual", "capture/device", "capture/tryout"},
	{"fit", "fit/response", "fit/design"},
	{"fit/meter"},
	{"fit/joint", "fit/check", "fit/consistency", "fit/fixture", "fit/harness", "fit/comparison", "fit/winding"},
	{"fit/batch", "fit/change", "fit/evaluation", "fit/turns"},
	{"fit/pair"},
	{"report/notation", "report/sound"},
	{"report/words", "report/schema"},
	{"report/figure", "report/data", "report/label"},
	{"report/terminal", "report/page"},
	{"cmd/coilsweep/guide", "cmd/coilsweep/internal/web/edited", "cmd/coilsweep/internal/web/site", "cmd/coilsweep/internal/web/stock",
		"cmd/coilsweep/internal/workbench", "cmd/coilsweep/internal/web/held", "cmd/coilsweep/internal/web/listed",
		"cmd/coilsweep/internal/keyfile"},
	{"cmd/coilsweep/internal/inguitar"},
	{"cmd/coilsweep/internal/web/recorded", "cmd/coilsweep/internal/web/markup", "cmd/coilsweep/internal/published",
		"cmd/coilsweep/internal/desk", "cmd/coilsweep/internal/web/several", "cmd/coilsweep/internal/web/borrowed",
		"cmd/coilsweep/internal/onpaper", "cmd/coilsweep/internal/exciterplan"},
	{"cmd/coilsweep/internal/web/swept", "cmd/coilsweep/internal/web/led", "cmd/coilsweep/internal/web/exciter"},
	{"cmd/coilsweep/internal/web", "cmd/coilsweep/internal/screen", "cmd/coilsweep/internal/outfile"},
	{"cmd/coilsweep/internal/cli"},
	{"cmd/coilsweep"},
}

// forTests are packages that only tests import.
var forTests = []string{"capture/soundcard/pulserig", "report/browserrig", "report/internal/golden",
	"report/internal/invented", "fit/internal/benched"}

// only are packages that few may import.
var only = map[string][]string{
	// Command lines are known to the command line alone.
	"github.com/spf13/cobra": {"cmd/coilsweep/internal/cli"},
	"github.com/spf13/pflag": {"cmd/coilsweep/internal/cli"},
	// What reads a result needs no fit.
	"fit/joint": {"fit/evaluation", "fit/pair", "cmd/coilsweep/internal/workbench"},
	// The page's door knows nothing of coils.
	"cmd/coilsweep/internal/web/site": {"cmd/coilsweep/internal/web"},
	// Sound cards need cgo; all else builds without.
	"github.com/gordonklaus/portaudio": {"capture/soundcard"},
}

// goPackage is what go list tells of a package.
type goPackage struct {
	ImportPath, Dir                    string
	GoFiles, CgoFiles                  []string
	Imports, TestImports, XTestImports []string
}

func goPackages(t *testing.T) map[string]goPackage {
	t.Helper()
	list := exec.Command("go", "list", "-json=ImportPath,Dir,GoFiles,CgoFiles,Imports,TestImports,XTestImports",
		"./...")
	list.Dir = filepath.Join("..", "..")
	list.Stderr = os.Stderr
	out, err := list.Output()
	if err != nil {
		t.Fatal(err)
	}
	packages := map[string]goPackage{}
	for dec := json.NewDecoder(bytes.NewReader(out)); ; {
		var p goPackage
		if err := dec.Decode(&p); errors.Is(err, io.EOF) {
			return packages
		} else if err != nil {
			t.Fatal(err)
		}
		packages[strings.TrimPrefix(p.ImportPath, "coilsweep/")] = p
	}
}

// No import leads up or round.
func TestArrows(t *testing.T) {
	t.Parallel()
	floor := map[string]int{}
	for i, packages := range floors {
		for _, p := range packages {
			floor[p] = i
		}
	}
	packages := goPackages(t)
	for name, p := range packages {
		at, has := floor[name]
		if isTest := slices.Contains(forTests, name); has == isTest {
			t.Errorf("%s has no floor in the house, or two places: put it into floors or forTests", name)
			continue
		} else if isTest {
			continue
		}
		for _, path := range p.Imports {
			imported := strings.TrimPrefix(path, "coilsweep/")
			if of := only[imported]; of != nil && !slices.Contains(of, name) {
				t.Errorf("%s imports %s, which is for %s", name, imported, strings.Join(of, ", "))
			}
			if imported == path {
				continue // another module
			}
			if slices.Contains(forTests, imported) {
				t.Errorf("%s imports %s, which is for tests", name, imported)
			} else if floor[imported] >= at {
				t.Errorf("%s imports %s, which is not below it", name, imported)
			}
		}
	}
	for name := range floor {
		if _, there := packages[name]; !there {
			t.Errorf("there is no package %s", name)
		}
	}
	// The simulated bench shares no formula with the fit, nor do its tests.
	virtual := packages["capture/virtual"]
	for _, path := range slices.Concat(virtual.Imports, virtual.TestImports, virtual.XTestImports) {
		if strings.HasPrefix(path, "coilsweep/fit") {
			t.Errorf("capture/virtual imports %s: a test of the fit on it would test the fit against itself", path)
		}
	}
}

// rootedPackages reach what lies in coil folders, and beside them, by capture/rooted
// alone.
var rootedPackages = []string{"capture", "capture/atomicfile", "capture/tomlkey", "capture/benchfile", "capture/partsfile",
	"capture/record", "fit/evaluation", "report/data", "cmd/coilsweep/internal/web", "cmd/coilsweep/internal/web/site",
	"cmd/coilsweep/internal/web/stock"}

// No file of the page's is reached past the confined root.
func TestRooted(t *testing.T) {
	t.Parallel()
	past := []string{"Open", "OpenFile", "Create", "ReadFile", "WriteFile", "ReadDir", "DirFS", "CopyFS", "Stat", "Lstat",
		"Mkdir", "MkdirAll", "Rename", "Remove", "RemoveAll", "Link", "Symlink", "Chmod", "Chtimes", "Truncate"}
	packages := goPackages(t)
	for _, name := range rootedPackages {
		p, there := packages[name]
		if !there {
			t.Errorf("there is no package %s", name)
		}
		for _, file := range p.GoFiles {
			set := token.NewFileSet()
			tree, err := parser.ParseFile(set, filepath.Join(p.Dir, file), nil, 0)
			if err != nil {
				t.Fatal(err)
			}
			ast.Inspect(tree, func(n ast.Node) bool {
				call, ok := n.(*ast.SelectorExpr)
				if !ok {
					return true
				}
				of, ok := call.X.(*ast.Ident)
				if ok && (of.Name == "os" && slices.Contains(past, call.Sel.Name) ||
					of.Name == "toml" && call.Sel.Name == "DecodeFile" ||
					of.Name == "filepath" && call.Sel.Name == "WalkDir") {
					t.Errorf("%s: %s.%s: use capture/rooted", set.Position(n.Pos()), of.Name, call.Sel.Name)
				}
				return true
			})
		}
	}
}

// mostColumns is how wide code is; text as it is printed, in raw strings, has its
// own lines.
const mostColumns = 120

// wideLines are the numbers of the lines of code that are too wide.
func wideLines(set *token.FileSet, tree *ast.File, text []byte) (wide []int) {
	printed := map[int]bool{}
	ast.Inspect(tree, func(n ast.Node) bool {
		if s, ok := n.(*ast.BasicLit); ok && strings.HasPrefix(s.Value, "`") {
			for line := set.Position(s.Pos()).Line; line <= set.Position(s.End()).Line; line++ {
				printed[line] = true
			}
		}
		return true
	})
	for i, line := range bytes.Split(text, []byte("\n")) {
		if utf8.RuneCount(line) > mostColumns && !printed[i+1] {
			wide = append(wide, i+1)
		}
	}
	return wide
}

// A package is one idea that a reader can hold, a function fits a screen or two,
// and a line of code a window.
func TestSizes(t *testing.T) {
	t.Parallel()
	const mostFiles, mostLines, mostInFunction = 16, 4200, 120
	for name, p := range goPackages(t) {
		files := slices.Concat(p.GoFiles, p.CgoFiles)
		lines := 0
		for _, file := range files {
			path := filepath.Join(p.Dir, file)
			text, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			lines += bytes.Count(text, []byte("\n"))
			set := token.NewFileSet()
			tree, err := parser.ParseFile(set, path, text, 0)
			if err != nil {
				t.Fatal(err)
			}
			for _, line := range wideLines(set, tree, text) {
				t.Errorf("%s/%s:%d: more than %d columns", name, file, line, mostColumns)
			}
			for _, d := range tree.Decls {
				f, ok := d.(*ast.FuncDecl)
				if !ok {
					continue
				}
				if n := set.Position(f.End()).Line - set.Position(f.Pos()).Line + 1; n > mostInFunction {
					t.Errorf("%s/%s: %s has %d lines, more than %d", name, file, f.Name.Name, n, mostInFunction)
				}
			}
		}
		if len(files) > mostFiles && lines > mostLines {
			t.Errorf("%s has %d files and %d lines: more than one idea", name, len(files), lines)
		}
	}
}
