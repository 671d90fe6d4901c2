package capture

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"
)

// CheckFileName returns an error unless a file or folder can be called name on every
// system: what Linux takes may be impossible to copy to Windows, and Windows may write
// into a printer instead ("Naming Files, Paths, and Namespaces" of its documentation).
func CheckFileName(name string) error {
	stem, _, _ := strings.Cut(strings.ToLower(name), ".")
	stem = strings.TrimRight(stem, " ")
	port := len(stem) == 4 && (strings.HasPrefix(stem, "com") || strings.HasPrefix(stem, "lpt")) &&
		stem[3] >= '0' && stem[3] <= '9'
	switch {
	case port || slices.Contains([]string{"con", "prn", "aux", "nul", "conin$", "conout$"}, stem):
		return fmt.Errorf("%q cannot be the name of a file or folder: on Windows it is a device", name)
	case strings.HasSuffix(name, ".") || strings.HasSuffix(name, " "):
		return fmt.Errorf("%q cannot be the name of a file or folder: Windows takes none that ends in a dot or space",
			name)
	}
	return nil
}

// checkNewFolder is CheckFileName for the last part of the path of a folder to be made.
func checkNewFolder(dir string) error {
	whole, err := filepath.Abs(dir)
	if err != nil {
		return err
	}
	// Abs on Windows takes the dot off that is to be refused.
	if base := filepath.Base(dir); base != "." && base != ".." {
		return CheckFileName(base)
	}
	return CheckFileName(filepath.Base(whole))
}
