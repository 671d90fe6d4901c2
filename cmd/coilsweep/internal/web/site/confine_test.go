package site

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestConfine(t *testing.T) {
	root := t.TempDir()
	outside := t.TempDir()
	for _, dir := range []string{"bridge", "shop/neck"} {
		if err := os.MkdirAll(filepath.Join(root, dir), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	for name, to := range map[string]string{"out": outside, "shop/up": "..", "within": "bridge", "dangling": "nowhere",
		"shop/self": "self"} {
		symlink(t, to, filepath.Join(root, name))
	}
	for _, good := range []string{"bridge", "shop/neck", "not there yet", "shop/not/there", "Hals Nr. 3", "été", "ネック",
		"a.b", strings.Repeat("x", maxName)} {
		got, err := Confine(root, good)
		if want := filepath.Join(root, good); err != nil || got != want {
			t.Errorf("%q: %q, %v; want %q", good, got, err, want)
		}
	}
	for _, bad := range []string{
		"", ".", "..", "/", "/etc", "//etc", "bridge/", "bridge//takes", "../x", "bridge/..", "bridge/../..",
		"bridge/./takes", "a/../../b",
		`..\x`, `a\b`, `C:\x`, "C:", "bridge\\..", "x\x00y", "x\ny", "x\x7f", "\u202ex", "x\u200b", ".hidden",
		"bridge/.git", "...",
		"con", "CON", "Nul.txt", "com1", "shop/LPT9.wav", "aux .x", "COM¹.wav", "conin$", "a\u2028b", "end.", "end ",
		" x", "a:b", "a*", "a?b", `"`, "a|b", "<b>",
		strings.Repeat("x", 300), strings.Repeat("x/", 600) + "x", "\xff\xfe", "%2e%2e/\x00",
		"out", "out/x", "shop/up", "shop/up/bridge", "within", "within/takes", "dangling", "shop/self",
	} {
		if got, err := Confine(root, bad); err == nil {
			t.Errorf("%q is let through as %q", bad, got)
		}
	}
}

// symlink makes a link, where the system does: Wine says that it did.
func symlink(t testing.TB, to, name string) {
	t.Helper()
	if err := os.Symlink(to, name); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Lstat(name); err != nil {
		t.Skip("this system makes no symbolic links: ", err)
	}
}

// FuzzConfine holds what is let through against os.Root, which follows links but
// not out of the root.
func FuzzConfine(f *testing.F) {
	base := f.TempDir()
	for _, dir := range []string{"bridge", "shop/neck"} {
		if err := os.MkdirAll(filepath.Join(base, dir), 0o755); err != nil {
			f.Fatal(err)
		}
	}
	for name, to := range map[string]string{"link": os.TempDir(), "shop/up": "../.."} {
		symlink(f, to, filepath.Join(base, name))
	}
	root, err := os.OpenRoot(base)
	if err != nil {
		f.Fatal(err)
	}
	f.Cleanup(func() { root.Close() })
	for _, seed := range []string{"bridge", "a/b", "..", "a/../b", "/x", `\\x`, "x\x00", "link/x", "shop/up/x",
		"shop/neck/takes", "été", "\u202e", "nul"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, rel string) {
		path, err := Confine(base, rel)
		if err != nil {
			return
		}
		if _, err := root.Stat(rel); err != nil && !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%q is let through, os.Root says %v", rel, err)
		}
		back, err := filepath.Rel(base, path)
		if err != nil || !filepath.IsLocal(back) || back == "." || filepath.ToSlash(back) != rel {
			t.Errorf("%q became %q, %q from the root (%v)", rel, path, back, err)
		}
	})
}
