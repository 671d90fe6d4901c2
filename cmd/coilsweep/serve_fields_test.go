package main

import (
	"context"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/accessibility"

	"coilsweep/report/browserrig"
)

// TestFieldsPage looks at the fields of the bench page, and at taking back what was written
// in them.
func TestFieldsPage(t *testing.T) {
	t.Parallel()
	browser := browserrig.Start(t, browserLife)
	t.Run("empty", func(t *testing.T) { testEmptyFields(t, browser) })
	t.Run("undone", func(t *testing.T) { testMakingUndone(t, browser) })
}

// What stands in an empty field says whether it is an example or holds until something is
// written: pages and templates name which (data-example, data-empty), and one module alone
// makes the placeholder of it.
func TestPlaceholdersAreMarked(t *testing.T) {
	t.Parallel()
	bare := regexp.MustCompile(`(?i)\.?placeholder["']?\s*(\|\||\?\?)?=|["'\x60]placeholder["'\x60]`)
	for _, text := range []string{`<input placeholder="1">`, `field.placeholder ||= "1"`, `field.setAttribute("placeholder", "1")`} {
		if !bare.MatchString(text) {
			t.Fatalf("%s is not seen", text)
		}
	}
	marked := map[string]int{}
	for _, root := range []string{"internal/web", "guide", "../../report/page", "../../report/plot"} {
		err := filepath.WalkDir(root, func(path string, entry fs.DirEntry, err error) error {
			if err != nil || entry.IsDir() || strings.HasSuffix(path, "_test.go") {
				return err
			}
			switch filepath.Ext(path) {
			case ".html", ".js", ".go":
			default:
				return nil
			}
			text, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			if found := bare.Find(text); found != nil && filepath.Base(path) != "empty.js" {
				t.Errorf("%s has %q: say by data-example or data-empty what it is", path, found)
			}
			marked[filepath.Base(path)] += strings.Count(string(text), "data-example=") + strings.Count(string(text), "data-empty=")
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	if marked["index.html"] < 30 || marked["fragments.html"] < 2 {
		t.Errorf("fields that say what stands in them while they are empty: %v", marked)
	}
}

// testEmptyFields: an example and what holds while a field is empty are told apart by a word,
// by how they look and by screen readers, can be read in either colours, and are not cut off.
func testEmptyFields(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	fittedCoil(t, root, "a", twoTakes)
	partial := filepath.Join(root, "a", "takes", "c1n.partial")
	if err := os.CopyFS(partial, os.DirFS(filepath.Join(root, "a", "takes", "c470"))); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(filepath.Join(partial, "take.toml")); err != nil {
		t.Fatal(err)
	}
	s := startServe(t, root, "--bench", "virtual", "--virtual-file", fast(t, t.TempDir()))
	for _, v := range []struct {
		name string
		view browserrig.View
	}{
		{"desktop", browserrig.View{Width: 1440, Height: 900}}, {"desktop-dark", browserrig.View{Width: 1440, Height: 900, Dark: true}},
		{"phone", browserrig.View{Width: 390, Height: 800}}, {"phone-dark", browserrig.View{Width: 390, Height: 800, Dark: true}},
	} {
		p, seen := s.open(browser, v.view), 0
		p.await("the exciter's fields", `(document.getElementById("exciter").open = true) && document.querySelector("#exciter-fields input")`)
		p.await("the coil", `document.getElementById("f-model").options.length > 1`)
		for _, step := range []string{"bench", "coil", "takes", "result", "guitar", "compare", "report"} {
			p.step(step)
			p.await(step, `!document.getElementById("`+step+`").hidden`)
			browserrig.JS[any](p.Tab, `document.querySelectorAll("details").forEach(d => d.open = true);
				for (const f of document.querySelectorAll("[data-for], [data-drive], [data-bleed], [data-two], #take-value")) f.hidden = false;
				document.getElementById("new-coil").hidden = false; null`)
			fields := browserrig.JS[[]struct {
				ID, Text, Style string
				Contrast        float64
				Cut, Told       bool
			}](p.Tab, `(() => {
				const light = c => c.match(/[\d.]+/g).slice(0, 3).map(v => v / 255)
					.map(v => v <= .04045 ? v / 12.92 : ((v + .055) / 1.055) ** 2.4).reduce((sum, v, i) => sum + v * [.2126, .7152, .0722][i], 0);
				const pen = document.createElement("canvas").getContext("2d");
				return [...document.querySelectorAll("#`+step+` :is(input, textarea)")].filter(f => f.getClientRects().length && f.placeholder).map(f => {
					const own = getComputedStyle(f), style = getComputedStyle(f, "::placeholder");
					const [a, b] = [light(style.color), light(own.backgroundColor)];
					pen.font = [style.fontStyle, style.fontWeight, style.fontSize, style.fontFamily].join(" ");
					const wide = Math.max(...f.placeholder.split("\n").map(line => pen.measureText(line).width));
					return {ID: f.id, Text: f.placeholder, Style: style.fontStyle, Contrast: (Math.max(a, b) + .05) / (Math.min(a, b) + .05),
						Cut: wide > f.clientWidth - parseFloat(own.paddingLeft) - parseFloat(own.paddingRight),
						Told: (f.getAttribute("aria-describedby") ?? "").split(" ").some(id => document.getElementById(id)?.textContent === f.placeholder)};
				}); })()`)
			seen += len(fields)
			for _, f := range fields {
				style := "italic"
				if strings.HasPrefix(f.Text, "if empty: ") {
					style = "normal"
				} else if !strings.HasPrefix(f.Text, "e.g. ") {
					t.Errorf("%s, %s: %s shows %q, and not what that is", v.name, step, f.ID, f.Text)
				}
				if f.Style != style || f.Contrast < 4.5 || f.Cut || !f.Told {
					t.Errorf("%s, %s: %s shows %q: %s, contrast %.1f, cut off %t, read out %t", v.name, step, f.ID, f.Text,
						f.Style, f.Contrast, f.Cut, f.Told)
				}
			}
			p.shoot("fields-" + step + "-" + v.name)
			if v.name == "phone" || v.name == "phone-dark" {
				p.Fits(step, 390)
			}
		}
		if seen < 50 {
			t.Errorf("%s: %d fields show something while they are empty", v.name, seen)
		}
		if v.name != "desktop" {
			continue
		}
		told := map[string]string{}
		for _, node := range browserrig.Call(p.Tab, accessibility.GetFullAXTree, accessibility.GetFullAXTreeParams{}).Nodes {
			if node.Name != nil && node.Description != nil {
				told[string(node.Name.Value)] = string(node.Description.Value)
			}
		}
		if got := told[`"Width on paper"`]; got != `"if empty: 170mm"` {
			t.Errorf("screen readers are told %s of the width on paper", got)
		}
		p.Accessible("", 15)
		p.quiet(s)
	}
}

// testMakingUndone: what was made of bench and parts is taken back, each edit to the byte, and
// the first making by removing the file, unless somebody has written there since.
func testMakingUndone(t *testing.T, browser context.Context) {
	t.Parallel()
	root := t.TempDir()
	s := startServe(t, root, "--bench", "soundcard")
	p := s.open(browser, browserrig.View{})
	p.step("bench")
	is := func(what, name string, want func(text string, there bool) bool) {
		t.Helper()
		for deadline := time.Now().Add(patience); ; time.Sleep(20 * time.Millisecond) {
			text, err := os.ReadFile(filepath.Join(root, name))
			if want(string(text), err == nil) {
				return
			}
			if time.Now().After(deadline) {
				t.Fatalf("waited in vain for %s: %s is %q, %v", what, name, text, err)
			}
		}
	}
	for _, c := range []struct{ file, key, form, undo, field, first, second, text string }{
		{"bench.toml", "capacitance = ", "#bench-form", "#bench-undo", "#b-fixture-c", "95p 20%", "80p 10%", "bench.file?.text"},
		{"parts.toml", "capacitors = ", "#my-parts", "#parts-undo", "#my-capacitors", "470p 1%", "998p 0.3% U95", "parts.text"},
	} {
		// shows waits until the page has the file.
		shows := func(text string) {
			t.Helper()
			p.await(c.file+" on the page", fmt.Sprintf(`import("/state.js").then(m => (m.state.%s ?? "") === %q)`, c.text, text))
		}
		file := func() string {
			t.Helper()
			text, err := os.ReadFile(filepath.Join(root, c.file))
			if err != nil {
				t.Fatal(err)
			}
			return string(text)
		}
		keep := func(text string) string {
			t.Helper()
			p.write(c.field, text)
			p.click(c.form + ` button[type="submit"]`)
			is(text, c.file, func(now string, _ bool) bool {
				_, stated, _ := strings.Cut(now, "\n"+c.key)
				return strings.Contains(strings.SplitN(stated, "\n", 2)[0], text)
			})
			shows(file())
			return file()
		}
		undo := func(what string, want func(text string, there bool) bool) {
			t.Helper()
			p.click(c.undo)
			is(what, c.file, want)
		}
		p.await("nothing to undo", fmt.Sprintf(`document.querySelector(%q).hidden`, c.undo))
		made := keep(c.first)
		asMade := func(text string, _ bool) bool { return text == made }
		p.shoot("made-" + c.file)
		undo("no file", func(_ string, there bool) bool { return !there })
		shows("")
		undo("the file again", asMade)
		shows(made)
		keep(c.second)
		undo("the file as it was made", asMade)
		shows(made)

		// What somebody else has written there is not lost.
		keep(c.second)
		others := made + "# mine\n"
		if err := os.WriteFile(filepath.Join(root, c.file), []byte(others), 0o666); err != nil {
			t.Fatal(err)
		}
		p.click(c.undo)
		p.says("#bench p .wrong", "changed meanwhile")
		if now := file(); now != others {
			t.Errorf("what somebody else wrote is now\n%s", now)
		}
		browserrig.JS[any](p.Tab, `document.querySelectorAll("#bench p .wrong").forEach(n => n.remove()); null`)
	}
	p.Accessible("", 15)
	p.onPhone("undone", "the bench")
	p.quiet(s, "409")
}
