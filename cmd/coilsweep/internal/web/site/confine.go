package site

import (
	"errors"
	"io/fs"
	"net/http"
	"path/filepath"
	"strings"
	"unicode"
	"unicode/utf8"

	"coilsweep/capture/atomicfile"
	"coilsweep/capture/rooted"
)

// The longest name of a file, and path, in bytes: less than any usual file
// system takes.
const (
	maxName = 200
	maxPath = 1000
)

// Confine turns a path relative to the server's root, written with slashes,
// into one of the file system. What leads out of the root, through a symbolic
// link or by name, or cannot be a folder's name on every usual system, is an
// *Error; so is the root itself. The path need not exist. Who may write below
// the root can still put a link there after the look; ServeFile withstands that.
func (s *Server) Confine(rel string) (string, error) { return Confine(s.root, rel) }

// Confine is Server.Confine for a root.
func Confine(root, rel string) (string, error) {
	if err := checkPath(rel); err != "" {
		return "", Errorf(http.StatusBadRequest, "%.80q cannot be the name of a folder here: %s", rel, err)
	}
	path := root
	for element := range strings.SplitSeq(rel, "/") {
		path = filepath.Join(path, element)
		info, err := rooted.Lstat(path)
		switch {
		case errors.Is(err, fs.ErrNotExist):
		case err != nil:
			return "", Errorf(http.StatusBadRequest, "cannot look at %.80q: %v", rel, err)
		case info.Mode()&(fs.ModeSymlink|fs.ModeIrregular) != 0: // irregular: Windows' junctions
			return "", Errorf(http.StatusForbidden,
				"%.80q leads through a link: only what is in the folder itself is served", rel)
		}
	}
	return path, nil
}

// checkPath says what is wrong with a path; empty: nothing.
func checkPath(rel string) string {
	switch {
	case rel == "":
		return "it is empty"
	case len(rel) > maxPath:
		return "it is too long"
	case !utf8.ValidString(rel):
		return "it is no text"
	}
	for element := range strings.SplitSeq(rel, "/") {
		trouble := atomicfile.NameTrouble(element)
		switch {
		case element == "":
			return "a name between slashes is empty"
		case strings.HasPrefix(element, "."):
			return "a name begins with a dot"
		case len(element) > maxName:
			return "a name is too long"
		case strings.ContainsAny(element, `\:*?"<>|`):
			return `one of \ : * ? " < > | is in it`
		case strings.ContainsFunc(element,
			func(r rune) bool { return unicode.IsControl(r) || unicode.In(r, unicode.Cf, unicode.Zl, unicode.Zp) }):
			return "a character in it cannot be seen"
		case trouble != "":
			return trouble
		}
	}
	return ""
}
