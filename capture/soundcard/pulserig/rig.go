//go:build linux

// Package pulserig is a sound system for tests, on a machine without a sound
// card: a PulseAudio server of its own with two null sinks and, between them,
// a simulated coil.
//
//	program -> sink "excite" -> monitor -> coil -> sink "coil" -> monitor -> program
//
// The exciter is connected to the first channel of sink "excite".
// The program reaches it through ALSA's pulse plug-in, by the environment of
// Env. Recorded are two channels: the coil's voltage and, as reference, the
// exciter's current. Only tests import this package.
//
// Needs (Debian): pulseaudio, pulseaudio-utils, libasound2-plugins. Where they
// are missing the test fails: it is not skipped.
//
// All four streams run by the system's clock, so that nothing drifts; a buffer
// of a second between the two sinks keeps a busy machine from tearing holes,
// and so does a higher priority where the user may have it.
package pulserig

import (
	"bufio"
	"bytes"
	"cmp"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"
)

// The sound devices that the rig shows.
const (
	Output = "coilsweep_out"   // to the exciter
	Input  = "coilsweep_in"    // from the coil
	Bench  = "coilsweep_bench" // both in one
)

// RateHz is the rate of the rig's clock.
const RateHz = 48000

// noise is the r.m.s. of the white noise on both recorded channels, full scale
// being 1.
const noise = 3e-6 // -110 dB

// bridgeLatency is the buffer between the coil and its sink: what the rig
// itself adds to the delay of the sound.
const bridgeLatency = time.Second

// Rig is a running sound system.
type Rig struct {
	dir    string
	server *exec.Cmd
	log    bytes.Buffer // of the server; read after it has ended
	ended  chan struct{}
	bridge sync.WaitGroup
	pipes  []*exec.Cmd
	coil   Coil
	added  atomic.Uint64 // bits of the added capacitance in F
	once   sync.Once
}

// Start starts a rig around the coil and waits until sound passes through it.
// It is closed at the end of the test at the latest.
func Start(t testing.TB, coil Coil) *Rig {
	t.Helper()
	// Not t.TempDir: the path of a socket may have 107 bytes at most.
	dir, err := os.MkdirTemp("", "pulserig")
	if err != nil {
		t.Fatal(err)
	}
	r := &Rig{dir: dir, coil: coil, ended: make(chan struct{})}
	t.Cleanup(func() {
		r.Close()
		if t.Failed() {
			t.Logf("the rig's PulseAudio said:\n%s", &r.log)
		}
	})
	if err := r.start(); err != nil {
		t.Fatalf("the sound system of the test does not start (needs pulseaudio, pulseaudio-utils, "+
			"libasound2-plugins): %v", err)
	}
	return r
}

func (r *Rig) start() error {
	config := fmt.Sprintf(`
pcm.%[1]s { type asym playback.pcm { type pulse server "%[4]s" device excite } }
pcm.%[2]s { type asym capture.pcm { type pulse server "%[4]s" device coil.monitor } }
pcm.%[3]s { type asym playback.pcm %[1]s capture.pcm %[2]s }
pcm.default { type asym playback.pcm %[1]s capture.pcm %[2]s }
`, Output, Input, Bench, r.address())
	for name, text := range map[string]string{"asound.conf": config, "client.conf": "autospawn = no\n"} {
		if err := os.WriteFile(filepath.Join(r.dir, name), []byte(text), 0o600); err != nil {
			return err
		}
	}
	sink := func(name string) string {
		return fmt.Sprintf("module-null-sink sink_name=%s rate=%d channels=2 format=float32le norewinds=1", name,
			RateHz)
	}
	r.server = exec.Command("pulseaudio", "-n", "--daemonize=no", "--use-pid-file=no", "--disallow-exit",
		// It ends by itself some time after the test's own streams did.
		"--exit-idle-time=20",
		"--realtime=no", "--high-priority=yes", "--disable-shm=yes", "--log-target=stderr",
		"-L", sink("excite"), "-L", sink("coil"),
		// Last, so that the sinks are there when the socket is.
		"-L", "module-native-protocol-unix auth-anonymous=1 socket="+r.socket())
	r.server.Env = append(os.Environ(), r.Env()...)
	r.server.Stderr = &r.log
	if err := r.server.Start(); err != nil {
		return err
	}
	go func() {
		r.server.Wait()
		close(r.ended)
	}()
	if err := r.awaitSocket(); err != nil {
		return err
	}
	return r.startBridge()
}

func (r *Rig) socket() string  { return filepath.Join(r.dir, "native") }
func (r *Rig) address() string { return "unix:" + r.socket() }

// awaitSocket waits until the server answers.
func (r *Rig) awaitSocket() error {
	for begin := time.Now(); time.Since(begin) < 20*time.Second; time.Sleep(20 * time.Millisecond) {
		if conn, err := net.Dial("unix", r.socket()); err == nil {
			return conn.Close()
		}
		select {
		case <-r.ended:
			return fmt.Errorf("pulseaudio ended: %s", &r.log)
		default:
		}
	}
	return fmt.Errorf("pulseaudio does not answer at %s", r.socket())
}

// startBridge carries sound from one sink through the coil to the other, and
// returns when it flows.
func (r *Rig) startBridge() error {
	format := []string{"--raw", "--format=float32le", fmt.Sprintf("--rate=%d", RateHz), "--channels=2"}
	from := r.pipe("parec", append(format, "--device=excite.monitor", "--latency-msec=20")...)
	to := r.pipe("pacat", append(format, "--device=coil",
		fmt.Sprintf("--latency-msec=%d", bridgeLatency.Milliseconds()))...)
	source, err := from.StdoutPipe()
	if err != nil {
		return err
	}
	sink, err := to.StdinPipe()
	if err != nil {
		return err
	}
	for _, p := range r.pipes {
		if err := p.Start(); err != nil {
			return err
		}
		syscall.Setpriority(syscall.PRIO_PROCESS, p.Process.Pid, -11) // as the server's; only root may
	}
	flows := make(chan struct{})
	r.bridge.Go(func() { r.carry(source, sink, flows) })
	select {
	case <-flows:
		return nil
	case <-time.After(20 * time.Second):
		return fmt.Errorf("no sound flows between the sinks; %s %s", from.Stderr, to.Stderr)
	}
}

func (r *Rig) pipe(name string, args ...string) *exec.Cmd {
	p := exec.Command(name, args...)
	p.Env = append(os.Environ(), r.Env()...)
	p.Stderr = new(bytes.Buffer)
	r.pipes = append(r.pipes, p)
	return p
}

// carry filters samples until a pipe breaks. It closes flows once the buffers
// are filled.
func (r *Rig) carry(from io.Reader, to io.WriteCloser, flows chan struct{}) {
	defer to.Close()
	const frames = 480 // 10 ms
	const size = 2 * 4 // bytes of a frame
	in, out := make([]byte, size*frames), make([]byte, size*frames)
	source := bufio.NewReaderSize(from, len(in))
	b := newBench(r.coil, RateHz)
	dice := rand.New(rand.NewPCG(1, 2))
	fill := int((bridgeLatency.Seconds()+0.1)*RateHz) / frames
	added := r.added.Load()
	for blocks := 0; ; blocks++ {
		if _, err := io.ReadFull(source, in); err != nil {
			return
		}
		if now := r.added.Load(); now != added {
			added = now
			b.setCoil(r.coil, math.Float64frombits(added))
		}
		for f := range frames {
			current := math.Float32frombits(binary.LittleEndian.Uint32(in[size*f:]))
			v, i := b.next(float64(current))
			binary.LittleEndian.PutUint32(out[size*f:], math.Float32bits(float32(v+noise*dice.NormFloat64())))
			binary.LittleEndian.PutUint32(out[size*f+4:], math.Float32bits(float32(i+noise*dice.NormFloat64())))
		}
		if _, err := to.Write(out); err != nil {
			return
		}
		if blocks == fill {
			close(flows)
		}
	}
}

// SetAddedCapacitance clips a capacitor across the coil, in place of the one
// before; 0 takes it off. It must not be called during a take.
func (r *Rig) SetAddedCapacitance(farad float64) { r.added.Store(math.Float64bits(farad)) }

// Env is the environment, as "NAME=value", in which a program finds the rig's
// devices and no others.
func (r *Rig) Env() []string {
	return []string{
		"HOME=" + r.dir,
		"XDG_RUNTIME_DIR=" + r.dir,
		"XDG_CONFIG_HOME=" + r.dir,
		"PULSE_RUNTIME_PATH=" + r.dir,
		"PULSE_CLIENTCONFIG=" + filepath.Join(r.dir, "client.conf"),
		"PULSE_COOKIE=" + filepath.Join(r.dir, "cookie"),
		"PULSE_SERVER=" + r.address(),
		"ALSA_CONFIG_PATH=" + filepath.Join(r.dir, "asound.conf"),
		"JACK_NO_START_SERVER=1",
	}
}

// Setenv makes Env the environment of this process for the rest of the test.
func (r *Rig) Setenv(t testing.TB) {
	for _, e := range r.Env() {
		name, value, _ := strings.Cut(e, "=")
		t.Setenv(name, value)
	}
}

// Kill kills the server, as if the device had been unplugged.
func (r *Rig) Kill() {
	r.server.Process.Kill()
	<-r.ended
}

// Restart starts a server anew after Kill, at the same address: the device is
// plugged in again.
func (r *Rig) Restart(t testing.TB) {
	t.Helper()
	r.Kill()
	r.endBridge()
	os.Remove(r.socket())
	r.ended, r.pipes = make(chan struct{}), nil
	if err := r.start(); err != nil {
		t.Fatalf("the sound system of the test does not start again: %v", err)
	}
}

// Load loads a module into the server, "module-null-sink", with its arguments; the error has
// what pactl says.
func (r *Rig) Load(module string, args ...string) error {
	// A default that nobody set goes over to a new source, and takes the bridge with it.
	return cmp.Or(r.control("set-default-source", "excite.monitor"), r.control("set-default-sink", "excite"),
		r.control("load-module", append([]string{module}, args...)...))
}

// control has pactl do something.
func (r *Rig) control(what string, args ...string) error {
	cmd := exec.Command("pactl", append([]string{what}, args...)...)
	cmd.Env = append(os.Environ(), r.Env()...)
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("pactl %s %v: %w: %s", what, args, err, out)
	}
	return nil
}

// Mute mutes a source, or lets it be heard again.
func (r *Rig) Mute(source string, mute bool) error {
	return r.control("set-source-mute", source, fmt.Sprint(mute))
}

// AddInput shows a source of the server as a further sound device, to programs that begin
// then; first makes it the default.
func (r *Rig) AddInput(name, source string, first bool) error {
	text := fmt.Sprintf("pcm.%s { type asym capture.pcm { type pulse server %q device %s } }\n", name, r.address(), source)
	if first {
		text += fmt.Sprintf("pcm.!default { type asym playback.pcm %s capture.pcm %s }\n", Output, name)
	}
	f, err := os.OpenFile(filepath.Join(r.dir, "asound.conf"), os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	_, err = f.WriteString(text)
	return errors.Join(err, f.Close())
}

// Freeze stops the server where it is: the device is there, but dead.
func (r *Rig) Freeze() { r.server.Process.Signal(syscall.SIGSTOP) }

// Close ends the server and all that belongs to it.
func (r *Rig) Close() {
	r.once.Do(func() {
		if r.server != nil && r.server.Process != nil {
			r.Kill()
		}
		r.endBridge()
		os.RemoveAll(r.dir)
	})
}

// endBridge ends what carries the sound between the sinks.
func (r *Rig) endBridge() {
	for _, p := range r.pipes {
		if p.Process != nil {
			p.Process.Kill()
		}
	}
	r.bridge.Wait()
	for _, p := range r.pipes {
		if p.Process != nil {
			p.Wait()
		}
	}
}
