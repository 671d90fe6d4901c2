// Package browserrig drives Chromium for tests of pages.
package browserrig

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	goruntime "runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	cdplog "github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// Start starts Chromium with an empty profile and no network: it reaches files
// and this machine's 127.0.0.1 only. Where there is no Chromium the test fails:
// 'make deps' installs it. It ends with the test, or after limit.
func Start(t testing.TB, limit time.Duration) context.Context {
	t.Helper()
	if testing.Short() {
		t.Skip("a browser takes seconds")
	}
	program := ""
	for _, name := range []string{"chromium-headless-shell", "chromium", "chromium-browser", "google-chrome"} {
		if path, err := exec.LookPath(name); err == nil {
			program = path
			break
		}
	}
	if program == "" {
		t.Fatal("Chromium is missing; 'make deps' installs it")
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(program), chromedp.WSURLReadTimeout(limit), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.NoFirstRun, chromedp.UserDataDir(t.TempDir()),
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true),
		chromedp.Flag("host-resolver-rules", "MAP * ~NOTFOUND, EXCLUDE 127.0.0.1"), chromedp.ProxyServer("127.0.0.1:9"))
	alive, cancel := context.WithTimeout(context.Background(), limit)
	t.Cleanup(cancel)
	alive, cancel = chromedp.NewExecAllocator(alive, options...)
	t.Cleanup(cancel)
	alive, _ = chromedp.NewContext(alive)
	if err := chromedp.Do(alive); err != nil {
		t.Fatalf("start of %s: %v", program, err)
	}
	t.Cleanup(func() {
		// The profile is removed next: nobody may write to it any more.
		if err := chromedp.Cancel(alive); err != nil {
			t.Errorf("end of %s: %v", program, err)
		}
	})
	return alive
}

// Tab is a page in the browser, with all that it complained of or asked for.
type Tab struct {
	T   testing.TB
	Ctx context.Context // for what is not here

	lock     sync.Mutex
	heard    []string // errors on the console, exceptions
	requests []string
}

// View is how a tab shows its page; the zero value is a light desktop.
type View struct {
	Width    int64
	Height   int64
	Dark     bool
	NoScript bool
}

// Open shows the page at an address in a new tab, which ends with the test.
func Open(t testing.TB, browser context.Context, address string, v View) *Tab {
	t.Helper()
	ctx, cancel := chromedp.NewContext(browser)
	t.Cleanup(cancel)
	p := &Tab{T: t, Ctx: ctx}
	if err := chromedp.Listen(ctx, p.hear); err != nil {
		t.Fatal(err)
	}
	Call(p, network.Enable, network.EnableParams{})
	Call(p, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: v.NoScript})
	p.Show(v)
	p.Do(chromedp.Navigate(address))
	return p
}

// OpenText shows a page from disk.
func OpenText(t testing.TB, browser context.Context, text string, v View) *Tab {
	t.Helper()
	path := filepath.Join(t.TempDir(), "page.html")
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return Open(t, browser, "file://"+path, v)
}

// Close closes the tab before the test ends.
func (p *Tab) Close() {
	p.T.Helper()
	if err := chromedp.Cancel(p.Ctx); err != nil {
		p.T.Errorf("end of a tab: %v", err)
	}
}

// Show changes the size of the window and the colour scheme.
func (p *Tab) Show(v View) {
	p.T.Helper()
	scheme := "light"
	if v.Dark {
		scheme = "dark"
	}
	if v.Width == 0 {
		v.Width, v.Height = 1200, 900
	}
	Call(p, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: v.Width,
		Height: v.Height, DeviceScaleFactor: 1})
	features := []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}
	Call(p, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: features})
}

func (p *Tab) hear(event any) {
	p.lock.Lock()
	defer p.lock.Unlock()
	switch e := event.(type) {
	case *runtime.EventConsoleAPICalled:
		if e.Type == runtime.ConsoleAPICalledTypeError || e.Type == runtime.ConsoleAPICalledTypeWarning ||
			e.Type == runtime.ConsoleAPICalledTypeAssert {
			p.heard = append(p.heard, fmt.Sprintf("console: %s", e.Type))
		}
	case *runtime.EventExceptionThrown:
		p.heard = append(p.heard, "exception: "+e.ExceptionDetails.Text)
	case *cdplog.EventEntryAdded:
		p.heard = append(p.heard, "log: "+e.Entry.Text)
	case *cdppage.EventJavascriptDialogOpening:
		p.heard = append(p.heard, "dialog: "+e.Message)
	case *network.EventRequestWillBeSent:
		p.requests = append(p.requests, e.Request.URL)
	}
}

// Noise is what the page complained of, and what it asked for beside itself
// and addresses that begin with one of own.
func (p *Tab) Noise(own ...string) []string {
	p.lock.Lock()
	defer p.lock.Unlock()
	noise := append([]string(nil), p.heard...)
	for i, url := range p.requests {
		alien := i > 0 && !strings.HasPrefix(url, "data:")
		for _, prefix := range own {
			alien = alien && !strings.HasPrefix(url, prefix) && !strings.HasPrefix(url, "blob:"+prefix)
		}
		if alien {
			noise = append(noise, "it asked for "+url)
		}
	}
	return noise
}

// Silent wants a page without noise.
func (p *Tab) Silent(own ...string) {
	p.T.Helper()
	for _, noise := range p.Noise(own...) {
		p.T.Error(noise)
	}
}

// Do runs actions in the tab.
func (p *Tab) Do(actions ...chromedp.Action[chromedp.Void]) {
	p.T.Helper()
	if err := chromedp.Do(p.Ctx, actions...); err != nil {
		p.T.Fatal(err)
	}
}

// Call runs a command of the browser's protocol.
func Call[P, R any](p *Tab, command cdp.Command[P, R], params P) R {
	p.T.Helper()
	result, err := chromedp.Call(p.Ctx, command, params)
	if err != nil {
		p.T.Fatal(err)
	}
	return result
}

// JS is the value of an expression in a page.
func JS[T any](p *Tab, expression string) T {
	p.T.Helper()
	v, err := chromedp.Run(p.Ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		p.T.Fatalf("%s: %v", expression[:min(len(expression), 60)], err)
	}
	return v
}

// Key sends keys to an element.
func (p *Tab) Key(selector, keys string) {
	p.T.Helper()
	p.Do(chromedp.Focus(chromedp.CSS(selector)), chromedp.KeyEvent(keys))
}

// Mouse moves the pointer, or presses or releases its button.
func (p *Tab) Mouse(kind input.DispatchMouseEventType, x, y float64) {
	p.T.Helper()
	options := []chromedp.MouseOption{chromedp.ButtonNone}
	if kind != input.DispatchMouseEventTypeMouseMoved {
		options = []chromedp.MouseOption{chromedp.ButtonLeft, chromedp.ClickCount(1)}
	}
	p.Do(chromedp.MouseEvent(kind, x, y, options...))
}

// Visible tells whether anything that matches is drawn.
func (p *Tab) Visible(selector string) bool {
	p.T.Helper()
	return JS[bool](p, `[...document.querySelectorAll('`+selector+`')].some(n => n.getClientRects().length > 0)`)
}

// Fits looks whether the page, called what, is no wider than a screen of so many pixels.
func (p *Tab) Fits(what string, screen float64) {
	p.T.Helper()
	if wide := JS[float64](p, `document.documentElement.scrollWidth`); wide > screen {
		p.T.Errorf("%s is %g px wide on a screen of %g", what, wide, screen)
	}
}

// Accessible wants that axe-core finds no violation, and checks at least so
// many rules. rules is the part of its options that chooses them; empty: all.
func (p *Tab) Accessible(rules string, least int) {
	p.T.Helper()
	if !JS[bool](p, `typeof axe === "object"`) {
		_, here, _, _ := goruntime.Caller(0)
		script, err := os.ReadFile(filepath.Join(filepath.Dir(here), "..", "testdata", "axe", "axe.min.js"))
		if err != nil {
			p.T.Fatal(err)
		}
		JS[any](p, string(script)+"; null")
	}
	result := JS[struct {
		Passes     int
		Violations []struct{ ID, Impact, Help, Where string }
	}](p, `axe.run(document, {`+rules+`resultTypes: ["violations"]}).then(r => ({Passes: r.passes.length,
		Violations: r.violations.map(v => ({ID: v.id, Impact: v.impact, Help: v.help,
			Where: v.nodes.slice(0, 3).map(n => n.html.slice(0, 200)).join("; ")}))}))`)
	if result.Passes < least {
		p.T.Errorf("%d rules were checked", result.Passes)
	}
	for _, v := range result.Violations {
		p.T.Errorf("%s, %s: %s: %s", v.Impact, v.ID, v.Help, v.Where)
	}
}
