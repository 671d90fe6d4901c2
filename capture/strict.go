package capture

import (
	"bytes"
	"errors"
	"fmt"
	"strings"

	"github.com/BurntSushi/toml"
)

// decodeStrict reads TOML into v. Errors begin with the line; a key that v
// does not have is one.
func decodeStrict(data []byte, v any) error {
	md, err := toml.NewDecoder(bytes.NewReader(data)).Decode(v)
	var parse toml.ParseError
	if errors.As(err, &parse) {
		return fmt.Errorf("line %d: %s", parse.Position.Line, parse.Message)
	}
	if err != nil {
		return errors.New(strings.TrimPrefix(err.Error(), "toml: "))
	}
	if unknown := md.Undecoded(); len(unknown) > 0 {
		key := unknown[0]
		return fmt.Errorf("line %d: there is no key %q: correct or remove it", lineOf(data, key), key)
	}
	return nil
}

// lineOf finds where key is set or its table begins; the library does not say.
func lineOf(data []byte, key toml.Key) int {
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
