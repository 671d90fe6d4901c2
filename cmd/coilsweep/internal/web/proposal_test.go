package web

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"coilsweep/capture"
	"coilsweep/capture/device"
	"coilsweep/cmd/coilsweep/internal/web/recorded"
	"coilsweep/fit"
)

// A take is named after what is connected across the coil.
func TestProposeTake(t *testing.T) {
	folder := &capture.Folder{Dir: t.TempDir()}
	for _, taken := range []string{"Bare", "bare-2", "c470.aside", "c220.partial"} {
		if err := os.MkdirAll(filepath.Join(folder.Dir, "takes", taken), 0o777); err != nil {
			t.Fatal(err)
		}
	}
	for _, tt := range []struct{ option, value, want string }{
		{"", "", "bare-3"},
		{"added-c", "470p 1%", "c470"}, {"added-c", "220p", "c220-2"}, {"added-c", "2.2n 5%", "c2n2"},
		{"added-c", "2n2", "c2n2"}, {"added-c", "1nF", "c1n"}, {"added-c", "0.47n", "c470"},
		{"added-c", "4.7p", "c4p7"},
		{"added-c", "1u", "c1u"},
		{"added-c", "many", ""},
		{"added-r", "100k 1%", "r100k"}, {"added-r", "4.7 M", "r4M7"}, {"added-r", "1M5", "r1M5"},
		{"added-r", "22 ohm", "r22"}, {"added-r", "4.7", "r4r7"},
	} {
		if got := proposeTake(folder, map[string]string{tt.option: tt.value}); got != tt.want {
			t.Errorf("%s %q: %s, want %s", tt.option, tt.value, got, tt.want)
		}
	}
}

// What is likely next: nothing across the coil, what the result asks for, a capacitor
// that the coil has not met, an unusable take again.
func TestPropose(t *testing.T) {
	bare, c470 := recorded.Take{Name: "bare", Usable: true}, recorded.Take{Name: "c470", AddedC: "470p 1%", Usable: true}
	bad := recorded.Take{Name: "bad", AddedR: "1M", Started: time.Now()}
	asks := &fit.Result{Advice: []fit.Advice{{Text: "x", AddedC: 330e-12}}}
	for _, tt := range []struct {
		takes  []recorded.Take
		result *fit.Result
		want   proposal
	}{
		{nil, nil, proposal{Kind: "bare"}},
		{[]recorded.Take{bare}, asks, proposal{Kind: "c", Value: "330p 1%"}},
		{[]recorded.Take{c470}, asks, proposal{Kind: "bare"}},
		{[]recorded.Take{bare, c470}, nil, proposal{Kind: "c", Value: "220p 1%"}},
		{[]recorded.Take{bare, bad}, asks, proposal{Kind: "r", Value: "1M", Redo: "bad"}},
	} {
		v := coilView{Takes: tt.takes, Result: tt.result}
		if got := v.propose([]string{"470p 1%", "220p 1%"}); got != tt.want {
			t.Errorf("%v: %+v, want %+v", tt.takes, got, tt.want)
		}
	}
}

func TestNext(t *testing.T) {
	bench := benchView{File: &benchText{}}
	bare := recorded.Take{Name: "bare", Usable: true}
	bad := recorded.Take{Name: "bad", AddedC: "470p", Started: time.Now(), Flags: []recorded.Flag{{Name: "clipped", Words: "lower the gain"}}}
	known := &fit.Result{Inductance: fit.Quantity{Value: 2.4, U95: 0.1}}
	known.Advice = []fit.Advice{{Text: "more", AddedC: 1e-9}}
	job := "take c470 of a"
	of := func(state string, result *fit.Result, takes ...recorded.Take) standing {
		return standing{bench: bench, coil: &coilView{State: state, Result: result, Takes: takes}}
	}
	stale := of(resultStale, &fit.Result{Inductance: fit.Unknown("x")}, bare)
	stale.coil.Stale = []string{"coil.toml was edited"}
	failed := of(resultFailed, nil, bare)
	failed.why = "no pole"
	working := of(resultNone, nil)
	working.engine = engineState{Phase: device.Working, Job: &job, jobInfo: jobInfo{Kind: "take"}}
	for _, tt := range []struct {
		s                             standing
		kind, says, do, takes, guitar string
	}{
		{standing{}, "", "choose your sound card", "go", "needs a coil", "needs a result"},
		{standing{bench: benchView{Simulated: true}}, "", "a name is enough", "new-coil", "needs a coil", "needs a result"},
		{standing{bench: bench}, "", "a name is enough", "new-coil", "needs a coil", "needs a result"},
		{of(resultNone, nil), "", "first take", "prepare", "none yet", "needs a result"},
		{of(resultNone, nil, bare, bad), "", "not usable. clipped: lower", "prepare", "1 of 2 usable",
			"needs a result"},
		{stale, "", "out of date: coil.toml was edited", "fit", "1 take", "needs L and C"},
		{of(resultFresh, &fit.Result{Inductance: fit.Unknown("one take"),
			BareResonance: fit.Unknown("one take")}, bare), "", "no numbers yet: one take", "go",
			"1 take", "needs L and C"},
		{of(resultFresh, known, bare), "", "Sharper still: more", "go", "1 take", "ready"},
		{failed, "alarm", "The fit failed: no pole", "go", "1 take", "needs a result"},
		{standing{engine: engineState{Phase: device.Lost}}, "alarm", "is lost", "go", "needs a coil", "needs a result"},
		{working, "work", "Take c470 of a. Leave coil", "", "recording", "needs a result"},
	} {
		n, steps, do := tt.s.next(), tt.s.steps(), ""
		if n.Do != nil {
			do = n.Do.Do
		}
		if n.Kind != tt.kind || !strings.Contains(n.Text, tt.says) || do != tt.do ||
			steps["takes"].Word != tt.takes || steps["guitar"].Word != tt.guitar {
			t.Errorf("next %+v by %q, steps %v; want %+v", n, do, steps, tt)
		}
	}
}

// Fragments take all that somebody wrote for text.
func TestFragmentsEscape(t *testing.T) {
	const harm = `<img src=x onerror=alert(1)>"'` + "\u202e"
	v := recorded.Take{Name: harm, AddedC: harm, Advice: []string{harm}, Flags: []recorded.Flag{{Name: harm, Words: harm}},
		Facts: []string{harm}}
	for name, view := range map[string]any{
		"takes": []recorded.Take{v}, "used": []string{harm}, "after": []recorded.Take{v},
		"notes":    []note{{Text: harm, Grade: "error"}},
		"partials": []recorded.Partial{{Name: harm, Take: harm, Text: harm}},
		"next": nextView{Text: harm,
			Do: &action{Do: "x", Options: map[string]string{"added-c": harm}, Redo: harm}},
		"files": []linked{{Name: harm, Take: harm, Link: "/file/x/y"}}, "gaps": []gap{{harm, harm, harm}},
		"trial": trial{State: "failed", Error: harm, Sentences: []string{harm}, Advice: []string{harm}, Level: harm},
	} {
		if got := string(fragment(name, view)); strings.Contains(got, "<img") || strings.Contains(got, `"'`) {
			t.Errorf("%s: %s", name, got)
		}
	}
	want := "from −3 dB to (−5), a-b 2-3 added capacitor"
	if got := said("from -3 dB to (-5), a-b 2-3 {added-c}[[ x]]"); got != want {
		t.Errorf("said: %s", got)
	}
}
