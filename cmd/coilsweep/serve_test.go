package main

import (
	"bufio"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"html"
	"io"
	"math"
	"mime/multipart"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"coilsweep/capture"
	"coilsweep/cmd/coilsweep/internal/cli"
	"coilsweep/excite/quantity"
	"coilsweep/fit"
	"coilsweep/report/notation"
)

// caller asks a bench page without a browser.
type caller struct {
	*served
	root, base, key string
}

// serve runs 'serve' on root as its user does, on a simulated bench that plays
// as fast as it can, or in real time.
func serve(t *testing.T, root string, inTime bool) *caller {
	t.Helper()
	args := []string{"--bench", "virtual"}
	if !inTime {
		args = append(args, "--virtual-file", fast(t, t.TempDir()))
	}
	return newCaller(startServe(t, root, args...), root)
}

func newCaller(s *served, root string) *caller {
	base, key, _ := strings.Cut(s.url, "/#key=")
	return &caller{s, root, base, key}
}

// asks sends a call and gives its status and answer.
func (s *caller) asks(method, path string, body any) (int, map[string]any) {
	s.t.Helper()
	var content io.Reader
	kind := "application/json"
	switch b := body.(type) {
	case nil:
	case form:
		content, kind = &b.body, b.kind
	case string:
		content = strings.NewReader(b)
	default:
		text, err := json.Marshal(body)
		if err != nil {
			s.t.Fatal(err)
		}
		content = bytes.NewReader(text)
	}
	r, err := http.NewRequest(method, s.base+path, content)
	if err != nil {
		s.t.Fatal(err)
	}
	r.Header.Set("X-Coilsweep-Key", s.key)
	if content != nil {
		r.Header.Set("Content-Type", kind)
	}
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		s.t.Fatal(err)
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	if err != nil {
		s.t.Fatal(err)
	}
	v := map[string]any{}
	if err := json.Unmarshal(text, &v); err != nil {
		v["text"] = string(text)
	}
	return answer.StatusCode, v
}

// gets is asks for what must go well.
func (s *caller) gets(method, path string, body any) map[string]any {
	s.t.Helper()
	status, v := s.asks(method, path, body)
	if status != http.StatusOK && status != http.StatusAccepted {
		s.t.Fatalf("%s %s %v: %d %v", method, path, body, status, v)
	}
	return v
}

// fetches the file of a link.
func (s *caller) fetches(link string) (string, http.Header) {
	s.t.Helper()
	answer, err := http.Get(s.base + link)
	if err != nil {
		s.t.Fatal(err)
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	if err != nil || answer.StatusCode != http.StatusOK {
		s.t.Fatalf("%s: %d %v", link, answer.StatusCode, err)
	}
	return string(text), answer.Header
}

// waits until is so.
func (s *caller) waits(what string, is func() bool) {
	s.t.Helper()
	for deadline := time.Now().Add(2 * patience); !is(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(deadline) {
			s.t.Fatalf("%s did not happen", what)
		}
	}
}

// within finds something in nested maps and lists.
func within(v any, path ...any) any {
	for _, p := range path {
		switch at := p.(type) {
		case string:
			m, _ := v.(map[string]any)
			v = m[at]
		case int:
			list, _ := v.([]any)
			if at >= len(list) {
				return nil
			}
			v = list[at]
		}
	}
	return v
}

// place is the markup that an answer has for a place of the page.
func (s *caller) place(answer map[string]any, id string) string {
	text, _ := within(answer, "html", id).(string)
	return text
}

// shows tells whether that markup has a text in it.
func (s *caller) shows(answer map[string]any, id, text string) bool {
	plain := strings.ReplaceAll(html.UnescapeString(s.place(answer, id)), "\u00a0", " ")
	return strings.Contains(plain, strings.ReplaceAll(text, "\u00a0", " "))
}

// links are the addresses in that markup.
func (s *caller) links(answer map[string]any, id string) (links []string) {
	for _, m := range regexp.MustCompile(`href="([^"]*)"`).FindAllStringSubmatch(s.place(answer, id), -1) {
		links = append(links, html.UnescapeString(m[1]))
	}
	return links
}

// form is a body with files.
type form struct {
	body bytes.Buffer
	kind string
}

func newForm(t *testing.T, options string, files map[string]string) form {
	t.Helper()
	var f form
	w := multipart.NewWriter(&f.body)
	if options != "" {
		w.WriteField("options", options)
	}
	for field, path := range files {
		part, err := w.CreateFormFile(field, filepath.Base(path))
		if err != nil {
			t.Fatal(err)
		}
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		part.Write(data)
	}
	w.Close()
	f.kind = w.FormDataContentType()
	return f
}

// listener follows the events of a page as a browser does.
type pageEvents struct {
	mu     sync.Mutex
	latest map[string]map[string]any
	count  map[string]int
}

func (s *caller) listens() *pageEvents {
	s.t.Helper()
	e := &pageEvents{latest: map[string]map[string]any{}, count: map[string]int{}}
	ctx, cancel := context.WithCancel(context.Background())
	r, _ := http.NewRequestWithContext(ctx, "GET", s.base+"/api/events", nil)
	r.Header.Set("X-Coilsweep-Key", s.key)
	answer, err := http.DefaultClient.Do(r)
	if err != nil || answer.StatusCode != http.StatusOK {
		s.t.Fatalf("no events: %v", err)
	}
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		defer answer.Body.Close()
		lines := bufio.NewScanner(answer.Body)
		lines.Buffer(nil, 1<<22)
		topic := ""
		for lines.Scan() {
			if name, ok := strings.CutPrefix(lines.Text(), "event: "); ok {
				topic = name
			}
			if data, ok := strings.CutPrefix(lines.Text(), "data: "); ok {
				v := map[string]any{}
				json.Unmarshal([]byte(data), &v)
				e.mu.Lock()
				e.latest[topic] = v
				e.count[topic]++
				e.mu.Unlock()
			}
		}
	}()
	s.t.Cleanup(func() { cancel(); <-ended })
	return e
}

func (e *pageEvents) of(topic string, path ...any) any {
	e.mu.Lock()
	defer e.mu.Unlock()
	return within(e.latest[topic], path...)
}

// quick are the options of a take of some tenths of a second.
func quick(take, addedC string) map[string]any {
	return map[string]any{"take": take, "added-c": addedC, "duration": "0.7", "repeats": "3"}
}

// takes makes a take and waits for the fit after it.
func (s *caller) takes(coil string, options map[string]any) {
	s.t.Helper()
	s.gets("POST", "/api/takes", map[string]any{"coil": coil, "options": options})
	s.waits("the take", func() bool {
		_, err := os.Stat(filepath.Join(s.root, coil, "takes", fmt.Sprint(options["take"]), "take.toml"))
		return err == nil
	})
	s.waits("the fit", func() bool { return s.gets("GET", "/api/result?coil="+coil, nil)["state"] == "fresh" })
}

// The whole job over HTTP: a new coil to its report, on the invented coil of
// capture/virtual/default.toml.
func TestServeWholeJob(t *testing.T) {
	t.Parallel()
	s := serve(t, t.TempDir(), false)
	events := s.listens()

	for path, has := range map[string]string{"/": "<html", "/plot.css": "--paper", "/guide/sense.svg": "<svg"} {
		if text, _ := s.fetches(path); !strings.Contains(text, has) {
			t.Errorf("%s: %.100q", path, text)
		}
	}
	bench := s.gets("GET", "/api/bench", nil)
	if bench["kind"] != "virtual" || s.place(bench, "bench-missing") != "" ||
		within(bench, "settings", "fixture-c") != "65p 5%" || !s.shows(bench, "bench-knows", "R 1M 1%, C 65p 5%") {
		t.Errorf("the simulated bench does not know itself: %v", bench)
	}

	if coil := s.gets("POST", "/api/coils",
		map[string]any{"options": map[string]string{"name": "Bridge #1",
			"dcr": "7.85k@20C 0.5%"}}); coil["coil"] != "bridge-1" {
		t.Fatalf("the coil is called %v", coil)
	}
	const coil = "bridge-1"
	state := s.gets("GET", "/api/coil?coil="+coil, nil)
	s.gets("POST", "/api/coil/settings?coil="+coil,
		map[string]any{"sha256": state["sha256"], "values": map[string]string{
			"celsius_at_takes": "20", "winding.wire": "AWG 42",
			"winding.core_length": "58mm", "winding.core_width": "5mm", "winding.height": "11mm",
			"winding.grade": "1", "winding.room": "6mm"}})
	state = s.gets("GET", "/api/coil?coil="+coil, nil)
	if said := fmt.Sprint(state); !strings.Contains(said, "winding.grade:1") ||
		!strings.Contains(said, "winding.room:6mm") {
		t.Errorf("the winding as kept: %s", said)
	}
	s.gets("POST", "/api/coil/reading?coil="+coil, map[string]any{
		"sha256": state["sha256"], "what": "L", "reading": "2.37H 2%", "at_hz": "1 kHz"})

	s.gets("POST", "/api/check", map[string]any{"coil": coil,
		"options": map[string]string{"duration": "0.7", "repeats": "2"}})
	s.waits("the trial sweep", func() bool { return events.of("ended", "kind") == "check" })
	trials := s.gets("GET", "/api/trials", nil)
	if events.of("ended", "outcome") != "done" || strings.Count(s.place(trials, "check-outcome"), "<p") < 5 ||
		!s.shows(trials, "check-outcome", "dB to clipping at −12 dBFS") || s.place(trials, "fixture-outcome") != "" {
		t.Errorf("trials: %v", trials)
	}

	s.takes(coil, quick("bare", ""))
	s.takes(coil, quick("c220", "220p 1%"))
	s.takes(coil, quick("c470", "470p 1%"))
	if kind, text := events.of("ended", "kind"), fmt.Sprint(events.of("ended", "text")); kind != "take" ||
		!strings.HasPrefix(text, "Take c470 is kept: peak ") {
		t.Errorf("the end of the take was told as %v: %s", kind, text)
	}
	s.waits("the response by all sweeps",
		func() bool { return events.of("sweep", "take") == "c470" && events.of("sweep", "repeats") == 3.0 })

	s.testResult(coil)

	guitar := s.gets("POST", "/api/guitar",
		map[string]any{"coils": []string{coil}, "all": true, "options": map[string]string{
			"volume": "500k", "volume-at": "10", "cable": "470p", "amp": "1M", "target": "3.5k", "solve": "cable"}})
	if !s.shows(guitar, "guitar-numbers", "for a peak at 3.5 kHz") ||
		!s.shows(guitar, "guitar-table", "without the cable") ||
		!s.shows(guitar, "guitar-figure", "<svg") || !s.shows(guitar, "guitar-assumed", "Assumed: ") {
		t.Errorf("guitar: %v", guitar)
	}

	// The same takes again, as another coil, by import of their audio.
	s.gets("POST", "/api/coils", map[string]any{"coil": "shop/neck",
		"options": map[string]string{"name": "Neck", "dcr": "7.85k@20C 0.5%"}})
	folder, err := capture.OpenFolder(filepath.Join(s.root, coil))
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"bare", "c470"} {
		take, err := folder.ReadTake(name)
		if err != nil {
			t.Fatal(err)
		}
		text, err := take.Stimulus.Encode()
		if err != nil {
			t.Fatal(err)
		}
		stimulus := filepath.Join(t.TempDir(), "sweep.toml")
		if err := os.WriteFile(stimulus, text, 0o666); err != nil {
			t.Fatal(err)
		}
		options := map[string]string{"bare": `{"take":"bare"}`, "c470": `{"take":"c470","added-c":"470p 1%"}`}[name]
		imported := s.gets("POST", "/api/import?coil=shop/neck", newForm(t, options, map[string]string{
			"recording": filepath.Join(folder.TakeDir(name), "capture.wav"), "stimulus": stimulus}))
		if !strings.HasPrefix(fmt.Sprint(imported["text"]), "Take "+name+" is kept: peak −") {
			t.Errorf("import: %v", imported)
		}
	}
	if left, _ := filepath.Glob(filepath.Join(s.root, "shop", "neck", ".upload*")); left != nil {
		t.Errorf("an upload was left: %v", left)
	}
	s.waits("the fit of the import",
		func() bool { return s.gets("GET", "/api/result?coil=shop/neck", nil)["state"] == "fresh" })
	both := []string{coil, "shop/neck"}
	compared := s.gets("POST", "/api/compare", map[string]any{"coils": both, "same_bench": true})
	if !s.shows(compared, "many-answer", "<svg") || !s.shows(compared, "many-answer", "Table of differences") {
		t.Errorf("comparison: %v", compared)
	}
	if page, header := s.fetches(s.links(compared, "many-answer")[0]); !strings.Contains(page, "Bridge #1") ||
		!strings.Contains(header.Get("Content-Security-Policy"), "sandbox") {
		t.Errorf("the page of the comparison, %v: %.200s", header, page)
	}
	batch := s.gets("POST", "/api/batch",
		map[string]any{"coils": both, "limits": "schema = \"coilsweep.limits/1\"\n[inductance_h]\nnominal = \"2.4H " +
			"5%\"\n"})
	if !s.shows(batch, "many-answer", "Table of spreads") || len(s.links(batch, "many-answer")) != 2 ||
		!s.shows(batch, "many-answer", "<code>coilsweep batch bridge-1 shop/neck</code>") {
		t.Errorf("batch: %v", batch)
	}

	// Limits that lie beside the coils are used, unless others are given.
	beside := filepath.Join(s.root, "shop", "limits.toml")
	agreed := "schema = \"coilsweep.limits/1\"\n[inductance_h]\nmin = \"3H\"\n"
	if err := os.WriteFile(beside, []byte(agreed), 0o666); err != nil {
		t.Fatal(err)
	}
	if err := os.CopyFS(filepath.Join(s.root, "shop", "again"), os.DirFS(filepath.Join(s.root, "shop", "neck"))); err != nil {
		t.Fatal(err)
	}
	batch = s.gets("POST", "/api/batch", map[string]any{"coils": []string{"shop/neck", "shop/again"}, "by_folder": true})
	if !s.shows(batch, "many-answer", "shop/limits.toml") || !s.shows(batch, "many-answer", "fail: L") ||
		!s.shows(batch, "many-answer", "--limits shop/limits.toml") {
		t.Errorf("batch by the limits beside it: %v", batch)
	}
	if err := os.RemoveAll(filepath.Join(s.root, "shop", "again")); err != nil {
		t.Fatal(err)
	}
	if batch = s.gets("POST", "/api/batch", map[string]any{"coils": both}); s.shows(batch, "many-answer", "limits.toml") {
		t.Errorf("the limits of one folder judge coils of two: %v", batch)
	}

	link := s.gets("POST", "/api/report?coil="+coil,
		map[string]any{"harness": map[string]string{"volume": "500k", "cable": "470p", "amp": "1M"}})["link"].(string)
	if page, _ := s.fetches(link); !strings.Contains(page, "Bridge #1") || !strings.Contains(page, "predicted-w") {
		t.Errorf("report: %.200s", page)
	}
	files := s.gets("GET", "/api/links?coil="+coil, nil)
	for what, want := range map[string]int{"Report<": 1, "Result<": 1, "Response<": 1, "Archive<": 1,
		"Recording of take": 3, "Stimulus<": 2} {
		if n := strings.Count(s.place(files, "files"), `"about">`+what); n != want {
			t.Errorf("%d files are %s, want %d", n, what, want)
		}
	}
	for _, link := range s.links(files, "files") {
		if text, _ := s.fetches(link); len(text) < 100 ||
			strings.HasSuffix(link, ".wav") != strings.HasPrefix(text, "RIFF") {
			t.Errorf("%s: %.100q", link, text)
		}
	}

	// A take is done again: the earlier one is set aside.
	if status, v := s.asks("POST", "/api/takes",
		map[string]any{"coil": coil, "options": quick("bare", "")}); status != http.StatusConflict ||
		v["exists"] != true || v["field"] != "take" {
		t.Errorf("a take of the same name: %d %v", status, v)
	}
	again := quick("bare", "")
	again["redo"] = "true"
	s.gets("POST", "/api/takes", map[string]any{"coil": coil, "options": again})
	s.waits("the redo", func() bool {
		return s.shows(s.gets("GET", "/api/coil?coil="+coil, nil), "take-aside",
			"bare.aside")
	})
	s.waits("the end of the redo", func() bool { return events.of("engine", "job") == nil })
	s.gets("POST", "/api/takes/aside", map[string]any{"coil": coil, "take": "c220"})
	state = s.gets("GET", "/api/coil?coil="+coil, nil)
	if n := strings.Count(s.place(state, "take-list"), `class="take-name"`); n != 2 {
		t.Errorf("%d takes, want 2", n)
	}

	// What is learnt of the coil goes into its numbers without being asked.
	s.waits("the fit", func() bool { return s.gets("GET", "/api/result?coil="+coil, nil)["state"] == "fresh" })
	recorded := func() string {
		var of struct {
			Record struct {
				Coil string `json:"coil_sha256"`
			}
		}
		readJSON(t, filepath.Join(s.root, coil, "result.json"), &of)
		return of.Record.Coil
	}
	before := recorded()
	s.gets("POST", "/api/coil/settings?coil="+coil,
		map[string]any{"sha256": state["sha256"], "values": map[string]string{"celsius_at_takes": "25"}})
	s.waits("the fit of the coil as it is now", func() bool {
		return s.gets("GET", "/api/result?coil="+coil, nil)["state"] == "fresh" && recorded() != before
	})
}

// testResult wants the result of the invented coil, and all its parts.
func (s *caller) testResult(coil string) {
	t := s.t
	t.Helper()
	var r fit.Result
	readJSON(t, filepath.Join(s.root, coil, "result.json"), &r)
	if l := r.Inductance; !(math.Abs(l.Value-2.4) <= l.U95 && l.U95 < 0.1) {
		t.Errorf("L is %g ± %g H, the invented coil has 2.4 H", l.Value, l.U95)
	}
	// The numbers of the page are those of the reports.
	answer := s.gets("GET", "/api/result?coil="+coil, nil)
	value, spread := notation.Apart(r.Inductance, quantity.Henry)
	if answer["known"] != true || !s.shows(answer, "result-head", "<b>"+value+"</b>") ||
		!s.shows(answer, "result-head", spread) ||
		s.shows(answer, "result-head", "Left out") || !s.shows(answer, "result-takes", "peak frequency") {
		t.Errorf("result: %v", answer)
	}
	list := s.gets("GET", "/api/coils", nil)
	if of := notation.Value(r.BareResonance, quantity.Hertz); !strings.Contains(within(list, "lines", 0, "row").(string), notation.Tied(of)) ||
		s.shows(list, "many-notes", "with its fixture") {
		t.Errorf("the list has no resonance of %s of the coil alone: %v", of, list)
	}
	for what, has := range map[string]string{
		"response": "<svg", "fit": "<svg", "residuals": "<svg", "line": "<svg", "meter": "agrees",
		"account": "as the takes show", "winding": "turns that give this resistance",
	} {
		if part, _ := s.gets("GET", "/api/part?coil="+coil+"&what="+what, nil)["html"].(string); !strings.Contains(part,
			has) {
			t.Errorf("%s: %.300s", what, part)
		}
	}
}

// Two pages on one bench that takes its time: they see the same, one take goes
// on at a time, it ends when enough is known or when either page says so; the
// end of the program keeps what was recorded, and the next start finds it all.
func TestServeTwoPages(t *testing.T) {
	t.Parallel()
	root := t.TempDir()
	s := serve(t, root, true)
	a, b := s.listens(), s.listens()
	s.gets("POST", "/api/coils", map[string]any{"coil": "coil", "options": map[string]string{"name": "Coil"}})
	take := func(name, until, repeats string) (int, map[string]any) {
		return s.asks("POST", "/api/takes", map[string]any{"coil": "coil", "options": map[string]string{
			"take": name, "until": until, "repeats": repeats, "duration": "0.7", "fixture-c": "65p 5%",
			"fixture-r": "1M 1%", "added-c": "220p 2%"}})
	}
	both := func(what string, is func(*pageEvents) bool) {
		t.Helper()
		s.waits(what, func() bool { return is(a) && is(b) })
	}

	if status, v := take("until", "20%", ""); status != http.StatusAccepted {
		t.Fatalf("%d %v", status, v)
	}
	both("the sweep of the take", func(e *pageEvents) bool {
		return e.of("sweep", "take") == "until" &&
			e.of("sweep", "repeats") != 0.0
	})
	if sweep := s.gets("GET", "/api/sweep", nil); !s.shows(sweep, "sweep-panel", "<svg") {
		t.Errorf("no response is drawn: %.100v", sweep)
	}
	if status, v := take("other", "", "2"); status != http.StatusConflict || v["running"] != "take until of coil" {
		t.Errorf("a second take: %d %v", status, v)
	}
	both("the end of the take", func(e *pageEvents) bool {
		return e.of("ended", "take") == "until" && e.of("ended", "outcome") == "done"
	})
	s.waits("the fit", func() bool { return s.gets("GET", "/api/result?coil=coil", nil)["state"] == "fresh" })
	of := s.place(s.gets("GET", "/api/coil?coil=coil", nil), "take-list")
	if !regexp.MustCompile(`\b([2-9]|[12]\d|3[01])\x{a0}sweeps`).MatchString(of) {
		t.Errorf("32 sweeps are the most: %s", of)
	}

	take("stopped", "", "20")
	both("progress", func(e *pageEvents) bool {
		n, _ := e.of("progress", "repeat").(float64)
		return e.of("progress", "take") == "stopped" && n >= 1
	})
	s.gets("POST", "/api/stop", map[string]any{})
	both("the stop", func(e *pageEvents) bool { return e.of("ended", "outcome") == "stopped" })
	both("listening again", func(e *pageEvents) bool {
		return e.of("engine", "phase") == "listening" && e.of("engine", "job") == nil
	})
	both("the same coil", func(e *pageEvents) bool { return e.of("coil", "revision") == a.of("coil", "revision") })

	take("broken", "", "20")
	partial := filepath.Join(root, "coil", "takes", "broken.partial", "capture.wav")
	s.waits("two sweeps on disk", func() bool { return size(partial) > 3.5*48000*2*4 })
	s.close()
	if text := s.said.String(); !strings.Contains(text, "Take broken was stopped after") {
		t.Errorf("the end was not told: %s", text)
	}

	s = serve(t, root, false)
	if state := s.gets("GET", "/api/result?coil=coil", nil)["state"]; state != "fresh" {
		t.Errorf("after the restart the result is %v", state)
	}
	coil := s.gets("GET", "/api/coil?coil=coil", nil)
	partials := s.place(coil, "take-partials")
	if strings.Count(s.place(coil, "take-list"), "take-name") != 1 || strings.Count(partials, "take-name") != 2 {
		t.Fatalf("found again: %v", coil)
	}
	if !regexp.MustCompile(`s: ([2-9]|1\d) of 20 sweeps(?s:.*)data-partial="broken.partial"`).MatchString(partials) {
		t.Errorf("partials: %s", partials)
	}
	if !strings.Contains(partials, "220p 2%") {
		t.Errorf("the load is not shown: %s", partials)
	}
	// The form may stand on another load by now.
	if v := s.gets("POST", "/api/partial",
		map[string]any{"coil": "coil", "partial": "broken.partial",
			"options": map[string]string{"take": "mended", "added-c": "1n"}}); !strings.HasPrefix(fmt.Sprint(v["text"]),
		"Take mended is kept: ") {
		t.Errorf("the unfinished recording: %v", v)
	}
	mended, err := (&capture.Folder{Dir: filepath.Join(root, "coil")}).ReadTake("mended")
	if err != nil {
		t.Fatal(err)
	}
	if l := mended.Load; l.AddedC == nil || l.AddedC.Text != "220p 2%" || l.FixtureC == nil ||
		l.FixtureC.Text != "65p 5%" || l.FixtureR == nil || l.FixtureR.Text != "1M 1%" {
		t.Errorf("its load is %+v", l)
	}
}

// Wrong requests: each is told what is wrong, where it can be told about which
// field, and changes nothing.
func TestServeRefuses(t *testing.T) {
	root := t.TempDir()
	if err := capture.CreateFolder(filepath.Join(root, "coil"), capture.Coil{Name: "invented"}); err != nil {
		t.Fatal(err)
	}
	outside := filepath.Join(t.TempDir(), "outside")
	if err := capture.CreateFolder(outside, capture.Coil{Name: "outside"}); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(outside, filepath.Join(root, "link")); err != nil {
		t.Fatal(err)
	}
	for link, to := range map[string]string{"lured/takes": outside,
		"posing/coil.toml": filepath.Join(outside, "coil.toml")} {
		if err := os.MkdirAll(filepath.Join(root, filepath.Dir(link)), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.Symlink(to, filepath.Join(root, link)); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(filepath.Join(root, "lured", "coil.toml"),
		[]byte("schema = \"coilsweep.coil/1\"\nname = \"x\"\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	s := serve(t, root, false)
	// The simulated bench has its file from its first use on.
	s.gets("POST", "/api/bench/settings", map[string]any{"options": map[string]string{},
		"sha256": within(s.gets("GET", "/api/bench", nil), "file", "sha256")})
	before := tree(t, root)
	coil := s.gets("GET", "/api/coil?coil=coil", nil)
	sum := coil["sha256"]
	type m = map[string]any
	on := func(coil string, options m) m { return m{"coil": coil, "options": options} }
	for _, tt := range []struct {
		method, path string
		body         any
		status       int
		field, says  string
	}{
		{"GET", "/api/coil?coil=none", nil, 404, "coil", "there is no coil none"},
		{"GET", "/api/coil", nil, 400, "", "it is empty"},
		{"GET", "/api/coil?coil=../outside", nil, 400, "", "begins with a dot"},
		{"GET", "/api/coil?coil=link", nil, 403, "", "through a link"},
		{"GET", "/api/coil?coil=lured", nil, 403, "", "no plain folder"},
		{"GET", "/api/coil?coil=posing", nil, 404, "coil", "there is no coil"},
		{"GET", "/api/coil?coil=%2Fetc", nil, 400, "", "empty"},
		{"GET", "/api/result?coil=none", nil, 404, "coil", ""},
		{"GET", "/api/links?coil=..", nil, 400, "", ""},
		{"GET", "/api/part?coil=coil&what=steam", nil, 400, "what", "there is no part"},
		{"GET", "/api/part?coil=coil&what=fit", nil, 422, "", "has no take"},
		{"GET", "/api/part?coil=coil&what=meter", nil, 422, "", "has no take"},
		{"GET", "/api/part?coil=none&what=account", nil, 404, "coil", ""},
		{"GET", "/api/part?coil=..&what=winding", nil, 400, "", ""},
		{"GET", "/api/next?coil=none", nil, 404, "coil", ""},
		{"GET", "/api/led?coil=none", nil, 404, "coil", ""},
		{"POST", "/api/draft", m{"form": "serve"}, 422, "form", "no such form"},

		{"POST", "/api/coils", m{"options": m{}}, 422, "name", "Give the coil a name"},
		{"POST", "/api/coils", m{"options": m{"name": "x", "colour": "red"}}, 422, "colour",
			"there is no such setting here"},
		{"POST", "/api/coils", m{"options": m{"name": "x", "dcr": "steam"}}, 422, "dcr", "steam"},
		{"POST", "/api/coils", m{"options": m{"name": "x", "dcr": "785"}}, 422, "dcr", `write "7.85k" if you meant that`},
		{"POST", "/api/coil/settings?coil=coil", m{"sha256": sum, "values": m{"dcr": "7.85"}}, 422, "dcr",
			`write "7.85 really"`},
		{"POST", "/api/coil/reading?coil=coil", m{"sha256": sum, "what": "L", "reading": "2.4m", "at_hz": "1000"}, 422,
			"reading", `write "2.4H" if`},
		{"POST", "/api/takes", on("coil", m{"take": "x", "fixture-r": "1m"}), 422, "fixture-r", `write "1M" if`},
		{"POST", "/api/takes", on("coil", m{"take": "x", "added-c": "471"}), 422, "added-c", `write "470p"`},
		{"POST", "/api/coils", m{"coil": "coil", "options": m{"name": "x"}}, 409, "", "already a coil folder"},
		{"POST", "/api/coils", m{"coil": "../x", "options": m{"name": "x"}}, 400, "", "begins with a dot"},
		{"POST", "/api/coils", m{"coil": "coil/inner", "options": m{"name": "x"}}, 422, "coil",
			"a coil holds no other"},
		{"POST", "/api/coils", m{"coil": "link/x", "options": m{"name": "x"}}, 403, "", "through a link"},
		{"POST", "/api/coils", "{", 400, "", "cannot be read"},
		{"POST", "/api/coils", m{"colour": 3}, 400, "", "colour"},

		{"PUT", "/api/coil?coil=coil", m{"sha256": "stale", "text": coil["text"]}, 409, "", "changed meanwhile"},
		{"PUT", "/api/coil?coil=coil", m{"sha256": sum, "text": "name = 3"}, 422, "", "line 1"},
		{"POST", "/api/coil/settings?coil=coil", m{"sha256": "stale", "values": m{"wire": "x"}}, 409, "",
			"changed meanwhile"},
		{"POST", "/api/coil/settings?coil=coil", m{"sha256": sum, "values": m{"winding.turns": "many"}}, 422,
			"winding.turns", "want a whole number"},
		{"POST", "/api/coil/settings?coil=coil", m{"sha256": sum, "values": m{"schema": "x"}}, 422, "schema",
			"is not a key"},
		{"POST", "/api/coil/reading?coil=coil", m{"sha256": sum, "what": "X", "reading": "1", "at_hz": "1000"}, 422,
			"what", "want"},
		{"POST", "/api/coil/reading?coil=coil", m{"sha256": sum, "what": "L", "reading": "much", "at_hz": "1000"}, 422,
			"reading", "much"},
		{"POST", "/api/coil/reading?coil=coil", m{"sha256": sum, "what": "L", "reading": "2H", "at_hz": "0"}, 422,
			"at_hz", "want the meter's test frequency"},

		{"POST", "/api/judge", m{"coil": "coil", "reference": "none", "tolerance": []string{"5%"}}, 404, "coil", ""},
		{"POST", "/api/judge", m{"coil": "coil", "reference": "coil"}, 422, "tolerance", "needs a tolerance"},
		{"POST", "/api/judge", m{"coil": "coil", "reference": "coil", "tolerance": []string{"5"}}, 422, "tolerance",
			"want for example"},
		{"POST", "/api/judge", m{"coil": "../x", "reference": "coil"}, 400, "", "begins with a dot"},
		{"POST", "/api/judge", m{"coil": "coil"}, 422, "reference", "or put limits into limits.toml"},
		{"POST", "/api/judge", m{"lot": "new"}, 422, "reference", "or put limits into limits.toml"},
		{"POST", "/api/judge", m{"lot": "../x"}, 400, "", "begins with a dot"},
		{"POST", "/api/coil/state", m{"coil": "coil"}, 422, "state", "Say what was done to the coil"},
		{"POST", "/api/coil/state", m{"coil": "coil", "state": "../x"}, 422, "state", "use letters"},
		{"POST", "/api/coil/state", m{"coil": "none", "state": "potted"}, 404, "coil", ""},
		{"POST", "/api/coil/state", m{"coil": "link", "state": "potted"}, 403, "", "through a link"},

		{"POST", "/api/takes", on("none", m{"take": "x"}), 404, "coil", ""},
		{"POST", "/api/takes", on("coil", m{"take": "a/b"}), 422, "take", "use letters"},
		{"POST", "/api/takes", on("coil", m{"take": "x", "added-c": "steam"}), 422, "added-c", "steam"},
		{"POST", "/api/takes", on("coil", m{"take": "x", "level": "loud"}), 422, "level", "want a number"},
		{"POST", "/api/takes", on("coil", m{"take": "x", "drive": "voltage"}), 422, "exciter-r",
			"needs the resistance of the exciter circuit"},
		{"POST", "/api/takes", on("coil", m{"take": "x", "input": "line"}), 422, "input",
			"input device does not go with the simulated bench"},
		{"POST", "/api/takes", on("coil", m{"take": "x", "after": "none"}), 422, "after", "has no take"},
		{"POST", "/api/takes", on("coil", m{"take": "x", "stimulus": "/etc/passwd"}), 422, "stimulus",
			"there is no such setting here"},
		{"POST", "/api/takes", on("coil", m{"take": "x", "bench-file": "/etc/passwd"}), 422, "bench-file",
			"there is no such setting here"},
		{"POST", "/api/takes", on("coil", m{"take": "x", "virtual-file": "/etc/passwd"}), 422, "virtual-file",
			"there is no such setting here"},
		{"POST", "/api/takes", m{"coil": "coil", "options": m{"take": 3}}, 400, "", "cannot be read"},
		{"POST", "/api/takes/aside", m{"coil": "coil", "take": "none"}, 404, "take", ""},
		{"POST", "/api/takes/aside", m{"coil": "coil", "take": "../coil"}, 422, "take", "use letters"},
		{"POST", "/api/partial", m{"coil": "coil", "partial": "../..", "options": m{"take": "x"}}, 404, "partial", ""},
		{"POST", "/api/import?coil=coil", newForm(t, `{"take":"x"}`, nil), 422, "recording", "is missing"},
		{"POST", "/api/import?coil=coil", newForm(t, `{"take":"x"}`, map[string]string{"recording": "serve_test.go"}),
			422, "", "serve_test.go: neither a WAV nor a FLAC file"},
		{"POST", "/api/import?coil=coil",
			newForm(t, `{"take":"x"}`, map[string]string{"recording": "serve_test.go", "stimulus": "serve_test.go"}),
			422, "stimulus", ""},
		{"POST", "/api/import?coil=coil",
			newForm(t, `{"take":"x","recording":"/etc/passwd"}`, map[string]string{"recording": "serve_test.go"}), 422,
			"recording", "there is no such setting here"},
		{"POST", "/api/import?coil=coil", newForm(t, `{`, map[string]string{"recording": "serve_test.go"}), 400,
			"options", ""},

		{"POST", "/api/check", on("none", nil), 404, "coil", ""},
		{"POST", "/api/check", on("", m{"level": "3"}), 422, "level", "at most 0 dBFS"},
		{"POST", "/api/pair", m{"pair": "nowhere"}, 422, "pair", "no pair in nowhere"},
		{"POST", "/api/pair", m{"pair": "../outside"}, 400, "", "begins with a dot"},
		{"POST", "/api/pair", m{"pair": "coil", "options": m{"partial-r": "steam"}}, 422, "partial-r", "steam"},
		{"POST", "/api/labels", m{"coils": []string{}}, 422, "coils", "Choose 1 to 1000 coils"},
		{"POST", "/api/labels", m{"coils": []string{"../outside"}}, 400, "", "begins with a dot"},
		{"POST", "/api/parts/settings", m{"sha256": "", "capacitors": "steam"}, 422, "capacitors", "steam"},
		{"POST", "/api/parts/settings", m{"sha256": "", "resistors": "4"}, 422, "resistors", "4"},
		{"POST", "/api/parts/settings", m{"sha256": "stale", "resistors": "220k 1%"}, 409, "", "changed meanwhile"},
		{"POST", "/api/live", on("none", nil), 404, "coil", ""},
		{"POST", "/api/live", on("", m{"level": "3"}), 422, "level", "want a level from"},
		{"POST", "/api/live", on("", m{"added-c": "steam"}), 422, "added-c", "steam"},
		{"POST", "/api/live/steer", m{"level": "loud"}, 422, "level", "want a level in dBFS"},
		{"POST", "/api/live/steer", m{"mark": true}, 409, "", "no resonance yet"},
		{"POST", "/api/fixture", on("", nil), 422, "series", "in place of the coil"},
		{"POST", "/api/fit", on("coil", m{"model": "steam"}), 422, "model", "want one of"},
		{"POST", "/api/fit", on("coil", m{"montecarlo": "1"}), 422, "montecarlo", "at least 2 trials"},

		{"PUT", "/api/bench", m{"sha256": "stale", "text": "schema = \"coilsweep.bench/1\"\n"}, 409, "",
			"changed meanwhile"},
		{"PUT", "/api/bench", m{"sha256": "", "text": "colour = 3\n"}, 422, "", "line 1"},
		{"PUT", "/api/parts", m{"sha256": "", "text": "colour = 3\n"}, 422, "", "line 1"},
		{"PUT", "/api/parts", m{"sha256": "stale", "text": nil}, 409, "", "changed meanwhile"},
		{"PUT", "/api/coil?coil=coil", m{"sha256": sum, "text": nil}, 422, "", "schema"},
		{"POST", "/api/bench/settings", m{"sha256": "", "options": m{"reference": "ground"}}, 422, "reference",
			"ground"},
		{"POST", "/api/bench/settings", m{"sha256": "", "options": m{"sense-r": "much"}}, 422, "sense-r", "much"},
		{"POST", "/api/bench/settings", m{"sha256": "", "options": m{"drive": "voltage"}}, 422, "exciter-r",
			"needs exciter_r"},
		{"POST", "/api/bench/settings", m{"sha256": "stale", "options": m{"drive": "current"}}, 409, "",
			"changed meanwhile"},
		{"POST", "/api/bench/kind", m{"bench": "steam"}, 422, "bench", ""},

		{"POST", "/api/guitar", m{"coils": []string{"coil"}, "options": m{"volume": "500k", "tone-at": "3"}}, 422,
			"tone-at", "tone knob needs tone pot"},
		{"POST", "/api/guitar", m{"coils": []string{"coil"}, "options": m{"netlist": "/tmp/x"}}, 422, "netlist",
			"there is no such setting here"},
		{"POST", "/api/guitar", m{"coils": []string{}, "options": m{"amp": "1M"}}, 422, "coils", "one coil or two"},
		{"POST", "/api/guitar", m{"coils": []string{"coil"}, "options": m{"amp": "1M"}}, 422, "", "has no take"},
		{"POST", "/api/compare", m{"coils": []string{"coil"}}, 422, "coils", "2 to 50"},
		{"POST", "/api/compare", m{"coils": []string{"coil", "coil"}}, 422, "coils", "twice"},
		{"POST", "/api/compare", m{"coils": []string{"coil", "link"}}, 403, "", ""},
		{"POST", "/api/compare", m{"coils": []string{"coil", "two", "three"}, "harness": m{}}, 422, "coils",
			"Choose two coils to hear, not 3."},
		{"POST", "/api/batch", m{"coils": []string{"coil", "link"}, "tolerance": "5%"}, 403, "", ""},
		{"POST", "/api/batch", m{"coils": []string{"coil"}, "limits": "colour = 3"}, 422, "limits", ""},
		{"POST", "/api/batch", m{"coils": []string{"coil"}, "tolerance": "5%"}, 422, "reference",
			"tolerance belongs to a reference"},
		{"POST", "/api/report?coil=coil", m{}, 422, "", "has no take"},
		{"POST", "/api/figure", m{"coil": "coil", "format": "pdf"}, 422, "", "has no take"},
		{"POST", "/api/figure", m{"coil": "link", "format": "pdf"}, 403, "", "through a link"},
		{"POST", "/api/figure", m{"coil": "coil", "options": m{"out": "/tmp/x"}}, 422, "out", "no such setting here"},
		{"POST", "/api/exciter", m{"options": m{"core": "10mm", "flange": "25mm", "length": "8mm"}}, 422, "",
			"wire is missing"},
		{"POST", "/api/exciter", m{"options": m{"core": "10 parsecs"}}, 422, "core", ""},
		{"POST", "/api/report?coil=none", m{}, 404, "coil", ""},
	} {
		status, v := s.asks(tt.method, tt.path, tt.body)
		field, _ := v["field"].(string)
		if status != tt.status || field != tt.field || !strings.Contains(fmt.Sprint(v["error"]), tt.says) {
			t.Errorf("%s %s %.300v: %d, field %q: %v; want %d, %q, %q", tt.method, tt.path, tt.body, status, field,
				v["error"], tt.status, tt.field, tt.says)
		}
	}
	if list := s.gets("GET", "/api/coils", nil); len(list["coils"].([]any)) != 1 ||
		strings.Count(s.place(list, "many-notes"), "<li") != 2 {
		t.Errorf("listed: %v", list)
	}
	if after := tree(t, root); after != before {
		t.Errorf("what was refused has changed files: %s\nbefore: %s", after, before)
	}
	if v := s.gets("POST", "/api/stop", m{}); v["stopping"] != false {
		t.Errorf("a job was started: %v", v)
	}
}

// tree is what a folder holds.
func tree(t *testing.T, root string) string {
	t.Helper()
	var all []string
	err := filepath.WalkDir(root, func(path string, entry os.DirEntry, err error) error {
		if err == nil && entry.Type().IsRegular() {
			var data []byte
			data, err = os.ReadFile(path)
			path += fmt.Sprintf(" %x", sha256.Sum256(data))
		}
		all = append(all, path)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return strings.Join(all, "\n")
}

// What people wrote into bench.toml and coil.toml stays when the page changes
// a value; what was changed meanwhile is not overwritten.
func TestServeKeepsComments(t *testing.T) {
	root := t.TempDir()
	const bench = "# mine\nschema = \"coilsweep.bench/1\"\n[fixture] # measured in spring\ncapacitance = \"60p\" # " +
		"about\n\n# my drive\n[drive]\nkind = \"current\" # nearly\n"
	own := filepath.Join(root, "simulated-bench")
	if err := errors.Join(os.Mkdir(own, 0o777),
		os.WriteFile(filepath.Join(own, "bench.toml"), []byte(bench), 0o666)); err != nil {
		t.Fatal(err)
	}
	s := serve(t, root, false)
	seen := s.gets("GET", "/api/bench", nil)
	sum := within(seen, "file", "sha256")
	s.gets("POST", "/api/bench/settings", map[string]any{"sha256": sum, "options": map[string]string{
		"fixture-c": "65p 5%", "level": "-15", "drive": "", "coil-channel": "2", "operator": "A. Winder"}})
	want := strings.NewReplacer("bench/1\"\n", "bench/1\"\noperator = \"A. Winder\"\n", `"60p"`, `"65p 5%"`, "kind = \"current\" # nearly\n", "").Replace(bench) +
		"\n[card]\nlevel_dbfs = -15.0\ncoil_channel = 2\n"
	if got := within(s.gets("GET", "/api/bench", nil), "file", "text"); got != want {
		t.Errorf("bench.toml is now\n%v\nwant\n%s", got, want)
	}
	if got := within(s.gets("GET", "/api/bench", nil), "settings", "operator"); got != "A. Winder" {
		t.Errorf("the page shows the operator %v", got)
	}
	if status, _ := s.asks("POST", "/api/bench/settings",
		map[string]any{"sha256": sum, "options": map[string]string{"rate": "96k"}}); status != http.StatusConflict {
		t.Errorf("an old checksum: %d", status)
	}
	if held, _ := os.ReadFile(filepath.Join(own, "bench.toml")); string(held) != want {
		t.Errorf("the file holds\n%s", held)
	}
}

// The folder of a new coil is named after it, as every system takes it, and as
// none is named yet.
func TestServeNamesFolders(t *testing.T) {
	s := serve(t, t.TempDir(), false)
	for _, c := range [][2]string{
		{"Bridge #1", "bridge-1"}, {"bridge 1", "bridge-1-2"}, {"Con", "con-2"}, {"../../etc", "etc"},
		{"Hälse", "hälse"},
		{strings.Repeat("ß", 300), strings.Repeat("ß", 50)}, {strings.Repeat("𝔸", 300), strings.Repeat("𝔸", 25)},
	} {
		if got := s.gets("POST", "/api/coils",
			map[string]any{"options": map[string]string{"name": c[0]}})["coil"]; got != c[1] {
			t.Errorf("%.40q is in %v, want %s", c[0], got, c[1])
		}
	}
	if status, v := s.asks("POST", "/api/coils",
		map[string]any{"options": map[string]string{"name": "***"}}); status != http.StatusUnprocessableEntity ||
		v["field"] != "name" {
		t.Errorf("a name without letters: %d %v", status, v)
	}
}

// One port is for one page; a page that others can reach says so.
func TestServeAddress(t *testing.T) {
	s := serve(t, t.TempDir(), false)
	var out, said bytes.Buffer
	address := strings.TrimPrefix(s.base, "http://")
	if status := cli.Run(t.Context(), []string{"serve", t.TempDir(), "--bench", "virtual", "--listen", address}, nil,
		&out, &said); status != 1 || !strings.Contains(said.String(), "is in use") {
		t.Errorf("status %d: %s", status, said.String())
	}
}

// While a take is done again, its recording is no unfinished one, and a fit that
// ends meanwhile does not draw the earlier take of that name in its place.
func TestServeTakeUnderWay(t *testing.T) {
	t.Parallel()
	s := serve(t, t.TempDir(), true)
	s.gets("POST", "/api/coils", map[string]any{"coil": "a",
		"options": map[string]string{"name": "A", "dcr": "7.85k@20C 0.5%"}})
	s.takes("a", map[string]any{"take": "bare", "duration": "0.7", "repeats": "3"})
	s.gets("POST", "/api/takes", map[string]any{"coil": "a", "options": map[string]string{
		"take": "bare", "duration": "9", "repeats": "60", "redo": "true"}})
	grows := filepath.Join(s.root, "a", "takes", "bare.partial")
	s.waits("the recording", func() bool {
		_, err := os.Stat(filepath.Join(grows, "stimulus.toml"))
		return err == nil
	})
	state := s.gets("GET", "/api/coil?coil=a", nil)
	if partials := s.place(state, "take-partials"); partials != "" {
		t.Errorf("the recording under way is shown as unfinished: %s", partials)
	}
	if status, answer := s.asks("POST", "/api/partial",
		map[string]any{"coil": "a", "partial": "bare.partial",
			"options": map[string]string{"take": "early"}}); status != http.StatusNotFound {
		t.Errorf("the recording under way is made a take: %d %v", status, answer)
	}
	s.gets("POST", "/api/coil/settings?coil=a",
		map[string]any{"sha256": state["sha256"], "values": map[string]string{"notes": "x"}})
	s.waits("the fit", func() bool { return s.gets("GET", "/api/result?coil=a", nil)["state"] == "fresh" })
	for range 20 {
		if s.shows(s.gets("GET", "/api/sweep", nil), "sweep-panel", "from 3 sweeps") {
			t.Fatal("the earlier take is drawn as the one under way")
		}
		time.Sleep(50 * time.Millisecond)
	}
	s.gets("POST", "/api/stop", map[string]any{})
	s.waits("the end", func() bool {
		return s.shows(s.gets("GET", "/api/coil?coil=a", nil), "take-partials", "bare.partial")
	})
}

// What is plausible but unusual is taken, with one remark in the page's own words.
func TestServeRemarks(t *testing.T) {
	t.Parallel()
	s := serve(t, t.TempDir(), false)
	events := s.listens()
	s.gets("POST", "/api/coils", map[string]any{"coil": "low",
		"options": map[string]string{"name": "low", "dcr": "1.2k"}})
	said := ""
	s.waits("the remark", func() bool {
		said, _ = events.of("notes", "html", "notes").(string)
		return strings.Contains(said, "unusual")
	})
	if n := strings.Count(said, "DC resistance: 1.20 kΩ is unusual for the DC resistance of a coil"); n != 1 {
		t.Errorf("%d remarks in %s", n, said)
	}
}
