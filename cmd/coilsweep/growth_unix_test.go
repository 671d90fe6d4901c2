//go:build unix

package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"coilsweep/cmd/coilsweep/internal/cli"
)

// BenchmarkGrowth is what lots of coils that are fitted cost: processor time of list,
// compare and batch --out, which is what the time for many coils grows with, whatever
// else runs on the machine. The coils of a lot are eight measured on the simulated bench,
// each many times. Takes/100x100 and 10000x1 are lists of 10,000 takes.
func BenchmarkGrowth(b *testing.B) {
	root := b.TempDir()
	models := measuredModels(b, filepath.Join(root, "models"))
	for _, lot := range []struct{ coils, takes int }{{200, 2}, {2000, 2}, {10000, 2}, {10000, 1}, {100, 100}} {
		dir := filepath.Join(root, fmt.Sprintf("%dx%d", lot.coils, lot.takes))
		if lot.takes != 2 {
			b.Run(fmt.Sprintf("list/%dx%d", lot.coils, lot.takes), func(b *testing.B) {
				multiply(b, models[lot.takes], dir, lot.coils)
				costs(b, "list", dir)
			})
			continue
		}
		for _, job := range [][]string{{"list"}, {"compare"}, {"batch", "--by-folder"},
			{"batch", "--by-folder", "--out", filepath.Join(root, "batch.html")}} {
			b.Run(fmt.Sprintf("%s/%d", strings.ReplaceAll(strings.Join(job[:min(len(job), 3)], ""), "--by-folder", ""),
				lot.coils), func(b *testing.B) {
				multiply(b, models[lot.takes], dir, lot.coils)
				if job[0] == "compare" { // does not look for coils
					dirs, _ := filepath.Glob(filepath.Join(dir, "*"))
					costs(b, append(job, dirs...)...)
				} else {
					costs(b, append(job, dir)...)
				}
			})
		}
	}
}

// succeed runs the program and wants the exit status 0.
func succeed(b *testing.B, args ...string) {
	b.Helper()
	var err strings.Builder
	if status := cli.Run(b.Context(), args, nil, io.Discard, &err); status != 0 {
		b.Fatalf("%q: status %d\n%s", args, status, err.String())
	}
}

// measuredModels makes eight coils that are measured and fitted, and two that are listed
// only, one with a take and fitted, one with a hundred and not; by the number of takes.
func measuredModels(b *testing.B, root string) map[int][]string {
	models := map[int][]string{}
	for _, takes := range []int{1, 100} {
		coil := filepath.Join(root, fmt.Sprintf("%d takes", takes))
		models[takes] = []string{coil}
		succeed(b, "new", coil)
		succeed(b, "measure", coil, "--take", "t0", "--bench", "virtual", "--duration", "0.35s", "--repeats", "1")
		if takes == 1 {
			succeed(b, "fit", coil, "--model", "loss-free")
		}
		first, err := os.ReadFile(filepath.Join(coil, "takes", "t0", "take.toml"))
		if err != nil {
			b.Fatal(err)
		}
		for i := 1; i < takes; i++ {
			name := fmt.Sprintf("t%d", i)
			dir := filepath.Join(coil, "takes", name)
			text := strings.Replace(string(first), `name = "t0"`, fmt.Sprintf("name = %q", name), 1)
			if err := errors.Join(os.Mkdir(dir, 0o777), os.WriteFile(filepath.Join(dir, "take.toml"), []byte(text), 0o666),
				os.Link(filepath.Join(coil, "takes", "t0", "capture.wav"), filepath.Join(dir, "capture.wav"))); err != nil {
				b.Fatal(err)
			}
		}
	}
	for i := range 8 {
		coil := filepath.Join(root, fmt.Sprint(i))
		bench := filepath.Join(root, "virtual.toml")
		if err := os.WriteFile(bench, []byte(benchOf(2.4+0.01*float64(i%4), 7850+40*float64(i%3), 0)), 0o666); err != nil {
			b.Fatal(err)
		}
		succeed(b, "new", coil, "--dcr", "7.85k@20C 2%")
		for _, load := range [][]string{{"alone"}, {"C470", "--added-c", "470p 1%"}} {
			succeed(b, append([]string{"measure", coil, "--bench", "virtual", "--virtual-file", bench, "--seed",
				fmt.Sprint(i), "--drive", "voltage", "--exciter-r", "223.9", "--exciter-l", "68u", "--fixture-c",
				"65p 1p", "--fixture-r", "1M 1%", "--take"}, load...)...)
		}
		succeed(b, "fit", coil, "--model", "one ring")
		models[2] = append(models[2], coil)
	}
	return models
}

// multiply fills dir with so many coils that are the models in turn, by hard links: the
// program does not tell them from copies.
func multiply(b *testing.B, models []string, dir string, coils int) {
	if _, err := os.Stat(dir); err == nil {
		return
	}
	for i := range coils {
		model := models[i%len(models)]
		err := filepath.WalkDir(model, func(path string, e os.DirEntry, err error) error {
			if err != nil {
				return err
			}
			inside, _ := filepath.Rel(model, path)
			to := filepath.Join(dir, fmt.Sprintf("%05d", i), inside)
			if e.IsDir() {
				return os.MkdirAll(to, 0o777)
			}
			return os.Link(path, to)
		})
		if err != nil {
			b.Fatal(err)
		}
	}
}

// costs reports the processor time of a call, of all threads, user's and system's.
func costs(b *testing.B, args ...string) {
	used := func() time.Duration {
		var u syscall.Rusage
		if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
			b.Fatal(err)
		}
		return time.Duration(u.Utime.Nano() + u.Stime.Nano())
	}
	b.ResetTimer()
	begin := used()
	for b.Loop() {
		succeed(b, args...)
	}
	b.ReportMetric((used()-begin).Seconds()/float64(b.N), "cpu-s/op")
}
