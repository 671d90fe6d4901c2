// Package tomlkey finds keys in the text of a TOML file, for errors that name
// the line.
package tomlkey

import (
	"strings"

	"github.com/BurntSushi/toml"
)

// Line is where key is set or its table begins, from 1; the library does not
// say. It is 1 where the key is not found.
func Line(data []byte, key toml.Key) int {
	table, name := strings.Join(key[:len(key)-1], "."), key[len(key)-1]
	current := ""
	for i, line := range strings.Split(string(data), "\n") {
		line = strings.TrimSpace(line)
		if strings.HasPrefix(line, "[") {
			current = strings.Trim(strings.SplitN(line, "#", 2)[0], "[] \t")
			if current == key.String() {
				return i + 1
			}
			continue
		}
		set, _, found := strings.Cut(line, "=")
		set = strings.Trim(set, " \t\"'")
		if found && (current == table && set == name || current == "" && set == key.String()) {
			return i + 1
		}
	}
	return 1
}
