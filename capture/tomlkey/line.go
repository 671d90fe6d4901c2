// Package tomlkey decodes TOML files (v1.0.0) strictly, finds keys in their text,
// for errors that name the line, and changes them in it, with all that people
// wrote beside them left as it is.
package tomlkey

import (
	"slices"
	"strconv"
	"strings"

	"github.com/BurntSushi/toml"
)

// Line is where key is set or its table begins, from 1; the library does not
// say. It is 1 where the key is not found.
func Line(data []byte, key toml.Key) int {
	for _, s := range scan(string(data)) {
		if s.kind != comment && slices.Equal(s.path(), key) {
			return lineAt(data, s.from)
		}
	}
	return 1
}

// LineOf is Line for a key such as "coil.ring[1].coupling", what follows a
// space left aside; an index counts tables in an array from 0. A key that is
// missing is given the line of the nearest table around it, 0 where there is
// none.
func LineOf(data []byte, key string) int {
	key, _, _ = strings.Cut(key, " ")
	var wanted []string // without indices
	index := map[string]int{}
	for part := range strings.SplitSeq(key, ".") {
		name, number, found := strings.Cut(part, "[")
		wanted = append(wanted, name)
		if found {
			n, _ := strconv.Atoi(strings.TrimSuffix(number, "]"))
			index[strings.Join(wanted, ".")] = n
		}
	}
	seen := map[string]int{} // [[table]] headers met
	inTable := true
	best, depth := 0, 0
	for _, s := range scan(string(data)) {
		if s.kind == comment {
			continue
		}
		if s.kind == header {
			name := strings.Join(s.table, ".")
			want, asked := index[name]
			inTable = !s.array || !asked || seen[name] == want
			seen[name]++
		}
		path := s.path()
		if inTable && len(path) > depth && len(path) <= len(wanted) && slices.Equal(path, wanted[:len(path)]) {
			best, depth = lineAt(data, s.from), len(path)
		}
	}
	return best
}

func lineAt(data []byte, offset int) int {
	return 1 + strings.Count(string(data[:offset]), "\n")
}
