package atomicfile

import "strings"

// NameTrouble says why no file or folder can be called name on every usual system;
// empty: it can be. What Linux takes may be impossible to copy to Windows, and Windows
// may write into a printer instead.
func NameTrouble(name string) string {
	base, _, _ := strings.Cut(strings.ToUpper(name), ".")
	switch {
	case strings.HasSuffix(name, ".") || strings.TrimSpace(name) != name:
		return "it begins or ends with a space, or ends with a dot"
	case reserved[strings.TrimSpace(base)]:
		return "Windows keeps that name for a device"
	}
	return ""
}

// reserved are names of devices on Windows (Microsoft, "Naming Files, Paths,
// and Namespaces"; the console's from memory).
var reserved = func() map[string]bool {
	names := map[string]bool{"CON": true, "PRN": true, "AUX": true, "NUL": true, "CONIN$": true, "CONOUT$": true}
	for _, n := range "123456789¹²³" {
		names["COM"+string(n)], names["LPT"+string(n)] = true, true
	}
	return names
}()
