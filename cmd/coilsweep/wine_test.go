//go:build wine && linux

package main

import (
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"coilsweep/capture/soundcard/pulserig"
)

// bench is the Windows program under Wine at a rig: .ci/windows says by its environment
// where both are.
type bench struct {
	t   *testing.T
	env []string
	dir string
}

func (b bench) command(args ...string) *exec.Cmd {
	cmd := exec.Command(os.Getenv("COILSWEEP_WINE"), append([]string{os.Getenv("COILSWEEP_EXE")}, args...)...)
	cmd.Env, cmd.Dir = b.env, b.dir
	cmd.WaitDelay = 10 * time.Second // services that Wine starts keep its outputs open
	return cmd
}

// does runs the program and wants that exit status.
func (b bench) does(status int, args ...string) string {
	b.t.Helper()
	out, said, got := b.runs(args...)
	b.t.Logf("%q: status %d\n%s", args, got, said)
	if got != status {
		b.t.Fatalf("want status %d; it printed\n%s", status, out)
	}
	return out
}

// records makes a take. A busy machine tears so many holes into the sound of Wine that
// the program says that the take is of no use, or can be made better: it is made again.
func (b bench) records(args []string) {
	b.t.Helper()
	for range 6 {
		_, said, status := b.runs(args...)
		b.t.Logf("%q: status %d\n%s", args, status, said)
		if status == 0 && !strings.Contains(said, "low-snr") && !strings.Contains(said, "the device reports") {
			return
		}
		if status != 0 && status != 3 {
			b.t.FailNow()
		}
		if args[len(args)-1] != "--redo" {
			args = append(args, "--redo")
		}
	}
	b.t.Fatal("no good take")
}

func (b bench) runs(args ...string) (output, warnings string, status int) {
	b.t.Helper()
	cmd := b.command(args...)
	var out, said strings.Builder
	cmd.Stdout, cmd.Stderr = &out, &said
	cancel := time.AfterFunc(2*time.Minute, func() { cmd.Process.Kill() })
	defer cancel.Stop()
	if err := cmd.Run(); cmd.ProcessState == nil {
		b.t.Fatal(err)
	}
	return out.String(), said.String(), cmd.ProcessState.ExitCode()
}

// A job from the sound devices to the fitted coil, by WASAPI, which is the default, and
// by MME; the last take is killed on its way, and made of what was recorded.
func TestWineJob(t *testing.T) {
	coil := pulserig.Coil{InductanceH: 2.4, ResistanceOhm: 7850, CapacitanceF: 175e-12, LoadOhm: 1e6}
	rig := pulserig.Start(t, coil)
	b := bench{t, append(os.Environ(), append(rig.Env(), "PULSE_SINK=excite", "PULSE_SOURCE=coil.monitor")...),
		t.TempDir()}
	devices := b.does(0, "devices")
	t.Log(devices)
	if !strings.Contains(devices, "WASAPI") || strings.Contains(devices, "MME") {
		t.Errorf("the devices are to be listed under WASAPI alone:\n%s", devices)
	}
	take := []string{"--reference", "current", "--fixture-r", "1M 1%", "--duration", "0.7s", "--repeats", "6"}
	for api, input := range map[string]string{"Windows WASAPI": "", "MME": "mme: PulseAudio"} {
		folder := strings.ToLower(strings.Fields(api)[0])
		b.does(0, "new", folder, "--name", "Coil of the rig (simulated)")
		for _, added := range []string{"0", "220p", "470p"} {
			args := append([]string{"measure", folder, "--take", "c" + added}, take...)
			if input != "" {
				args = append(args, "--input", input, "--output", input)
			}
			rig.SetAddedCapacitance(map[string]float64{"220p": 220e-12, "470p": 470e-12}[added])
			if added != "0" {
				args = append(args, "--added-c", added+" 1%")
			}
			if added == "470p" {
				b.interrupted(folder, args)
			} else {
				b.records(args)
			}
			text, err := os.ReadFile(filepath.Join(b.dir, folder, "takes", "c"+added, "take.toml"))
			if err != nil || added != "470p" && !strings.Contains(string(text), `host_api = "`+api+`"`) {
				t.Errorf("%s: %v\n%s", api, err, text)
			}
		}
		var result struct {
			L value `json:"inductance_h"`
			C value `json:"capacitance_f"`
		}
		if err := json.Unmarshal([]byte(b.does(0, "fit", folder, "--json")), &result); err != nil {
			t.Fatal(err)
		}
		t.Logf("%s: L %.4g ± %.2g H, C %.4g ± %.2g F", api, result.L.Value, result.L.U95, result.C.Value, result.C.U95)
		if math.Abs(result.L.Value-coil.InductanceH) > result.L.U95 ||
			math.Abs(result.C.Value-coil.CapacitanceF) > result.C.U95 || !(result.L.U95 < 0.05*result.L.Value) {
			t.Errorf("%s: L %+v, C %+v", api, result.L, result.C)
		}
	}
}

// interrupted kills a take of eight sweeps in the middle, and makes it of the recording;
// again where a busy machine left too little of that.
func (b bench) interrupted(folder string, args []string) {
	b.t.Helper()
	partial := filepath.Join(folder, "takes", "c470p.partial")
	audio := filepath.Join(b.dir, partial, "capture.wav")
	redo := []string{}
	for range 6 {
		cmd := b.command(append(append(args, "--repeats", "8"), redo...)...)
		if err := cmd.Start(); err != nil {
			b.t.Fatal(err)
		}
		for begin := time.Now(); size(audio) < 8*48000*6; time.Sleep(20 * time.Millisecond) {
			if time.Since(begin) > time.Minute {
				cmd.Process.Kill()
				b.t.Fatalf("%s has %d bytes after a minute", audio, size(audio))
			}
		}
		cmd.Process.Kill()
		cmd.Wait()
		_, said, status := b.runs(append([]string{"import", folder, "--take", "c470p", "--stimulus",
			filepath.Join(partial, "stimulus.toml"), "--recording", filepath.Join(partial, "capture.wav"), "--reference",
			"current", "--fixture-r", "1M 1%", "--added-c", "470p 1%"}, redo...)...)
		b.t.Logf("%s of the killed take: status %d\n%s", folder, status, said)
		if status == 0 {
			return
		}
		if err := os.RemoveAll(filepath.Join(b.dir, partial)); err != nil || status != 3 {
			b.t.Fatal(err)
		}
		redo = []string{"--redo"}
	}
	b.t.Fatal("no good take")
}

// Ctrl-C at the console ends a take and keeps the recording; the run time makes the
// same signal of a closed window and a logoff.
func TestWineInterrupt(t *testing.T) {
	b := bench{t, os.Environ(), t.TempDir()}
	b.does(0, "new", "bridge")
	text, err := os.ReadFile("testdata/script/interrupt.txt")
	if err != nil {
		t.Fatal(err)
	}
	_, slow, _ := strings.Cut(string(text), "-- slow.toml --\n")
	slow, _, _ = strings.Cut(slow, "\n-- ")
	if err := os.WriteFile(filepath.Join(b.dir, "slow.toml"), []byte(slow), 0o666); err != nil {
		t.Fatal(err)
	}
	// A terminal of its own, since Wine makes a console of one: script(1) of util-linux.
	take := b.command("measure", "bridge", "--take", "bare", "--bench", "virtual", "--virtual-file", "slow.toml",
		"--from", "100", "--duration", "0.3s", "--repeats", "30")
	cmd := exec.Command("script", "-qec", strings.Join(take.Args, " "), "/dev/null")
	cmd.Dir, cmd.Env, cmd.WaitDelay = take.Dir, take.Env, take.WaitDelay
	var said strings.Builder
	cmd.Stdout = &said
	keys, err := cmd.StdinPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	stop := time.AfterFunc(2*time.Minute, func() { cmd.Process.Kill() })
	defer stop.Stop()
	audio := filepath.Join(b.dir, "bridge", "takes", "bare.partial", "capture.wav")
	for begin := time.Now(); size(audio) < 400000 && time.Since(begin) < time.Minute; {
		time.Sleep(20 * time.Millisecond)
	}
	if _, err := keys.Write([]byte{3}); err != nil {
		t.Fatal(err)
	}
	cmd.Wait()
	if !strings.Contains(said.String(), `is kept in bridge\takes\bare.partial: use it with`) || size(audio) < 400000 {
		t.Errorf("%d bytes are kept; it said\n%s", size(audio), &said)
	}
}
