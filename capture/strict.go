package capture

import (
	"bytes"
	"errors"
	"fmt"
	"strings"

	"github.com/BurntSushi/toml"

	"coilsweep/capture/tomlkey"
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
		return fmt.Errorf("line %d: there is no key %q: correct or remove it", tomlkey.Line(data, key), key)
	}
	return nil
}
