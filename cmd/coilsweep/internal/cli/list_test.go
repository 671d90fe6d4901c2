package cli

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// BenchmarkList10000 lists 2500 coils of four takes each. Wanted: within 2 s.
func BenchmarkList10000(b *testing.B) {
	root := b.TempDir()
	model := filepath.Join(root, "model")
	must := func(args ...string) {
		b.Helper()
		var err strings.Builder
		if status := Run(b.Context(), args, nil, io.Discard, &err); status != exitDone {
			b.Fatalf("%q: status %d\n%s", args, status, err.String())
		}
	}
	must("new", model)
	names := []string{"bare", "C220p", "C470p", "C1n"}
	for _, name := range names {
		must("measure", model, "--take", name, "--bench", "virtual", "--duration", "0.35s", "--repeats", "1",
			"--added-c", "470p 1%")
	}
	must("fit", model)
	read := func(path string) []byte {
		data, err := os.ReadFile(path)
		if err != nil {
			b.Fatal(err)
		}
		return data
	}
	write := func(path string, data []byte) {
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			b.Fatal(err)
		}
		if err := os.WriteFile(path, data, 0o666); err != nil {
			b.Fatal(err)
		}
	}
	shop := filepath.Join(root, "shop")
	for i := range 2500 {
		dir := filepath.Join(shop, fmt.Sprintf("%04d", i))
		write(filepath.Join(dir, "coil.toml"), read(filepath.Join(model, "coil.toml")))
		write(filepath.Join(dir, "result.json"), read(filepath.Join(model, "result.json")))
		for _, name := range names {
			write(filepath.Join(dir, "takes", name, "take.toml"),
				read(filepath.Join(model, "takes", name, "take.toml")))
		}
	}
	b.ResetTimer()
	for b.Loop() {
		var out bytes.Buffer
		if status := Run(b.Context(), []string{"list", shop, "--sort", "resonance"}, nil, &out,
			io.Discard); status != exitDone {
			b.Fatal(status)
		}
		if n := bytes.Count(out.Bytes(), []byte(" up to date ")); n != 2500 {
			b.Fatalf("%d coils listed as up to date", n)
		}
	}
}
