package tomlkey

import (
	"fmt"
	"reflect"
	"slices"
	"strings"

	"github.com/BurntSushi/toml"
)

// Set gives key of table (nil: the top) a plain value: a string, number or truth
// value. A line that is there keeps its place and the comment behind it; a new
// one comes behind a comment that shows it as an example, else at the end of
// its table. All else stays byte for byte.
//
// The error says that the text cannot be changed like this, for instance since
// its table is written in braces. A text is never damaged.
func Set(text []byte, table toml.Key, key string, value any) ([]byte, error) {
	line, err := toml.Marshal(map[string]any{key: value})
	if err != nil {
		return nil, fmt.Errorf("%s: %w", key, err)
	}
	mark, body := cutMark(string(text))
	return checked(text, mark+insert(body, table, key, string(line)), table, func(t map[string]any) error {
		one := map[string]any{}
		err := toml.Unmarshal(line, &one)
		t[key] = one[key]
		return err
	})
}

// Unset removes the lines that set key of table; where there are none it
// changes nothing.
func Unset(text []byte, table toml.Key, key string) ([]byte, error) {
	mark, changed := cutMark(string(text))
	if s, ok := find(changed, table, key); ok {
		changed = changed[:s.from] + changed[s.to:]
	}
	return checked(text, mark+changed, table, func(t map[string]any) error {
		delete(t, key)
		return nil
	})
}

// Append puts a block of lines, such as a table, at the end of text.
func Append(text []byte, block string) []byte {
	whole := ended(string(text))
	return []byte(whole + lineBreak(whole) + like(whole, ended(block)))
}

// cutMark takes off the byte order mark that editors on Windows may put before a text.
func cutMark(text string) (mark, body string) {
	if body, ok := strings.CutPrefix(text, "\ufeff"); ok {
		return "\ufeff", body
	}
	return "", text
}

// lineBreak is what ends the lines of text.
func lineBreak(text string) string {
	if at := strings.IndexByte(text, '\n'); at > 0 && text[at-1] == '\r' {
		return "\r\n"
	}
	return "\n"
}

// like is lines with the line breaks of text.
func like(text, lines string) string { return strings.ReplaceAll(lines, "\n", lineBreak(text)) }

// find is the setting of key in table.
func find(text string, table toml.Key, key string) (statement, bool) {
	path := append(slices.Clone(table), key)
	all := scan(text)
	i := slices.IndexFunc(all, func(s statement) bool { return s.kind == setting && slices.Equal(s.path(), path) })
	if i < 0 {
		return statement{}, false
	}
	return all[i], true
}

// insert puts line, which sets key of table, where it belongs.
func insert(text string, table toml.Key, key, line string) string {
	if s, ok := find(text, table, key); ok {
		_, value, _ := strings.Cut(strings.TrimSuffix(line, "\n"), " = ")
		return text[:s.value[0]] + value + text[s.value[1]:]
	}
	last, example := -1, -1
	if len(table) == 0 {
		last = 0
	}
	for _, s := range scan(text) {
		switch path := s.path(); {
		case len(s.table) < len(table) && len(path) > len(table) && slices.Equal(path[:len(table)], table):
			return text // by dotted keys, beside which its header may not stand
		case s.array || !slices.Equal(s.table, table):
		case s.kind != comment:
			last = s.to
		case last >= 0 && len(s.key) == 1 && s.key[0] == key:
			example = s.to
		}
	}
	switch {
	case example >= 0:
		last = example
	case last < 0:
		return string(Append([]byte(text), "["+table.String()+"]\n"+line))
	}
	return ended(text[:last]) + like(text, line) + text[last:]
}

// ended is text with a line break at its end.
func ended(text string) string {
	if text == "" || strings.HasSuffix(text, "\n") {
		return text
	}
	return text + lineBreak(text)
}

// checked is changed, if it means what text means with its table changed by
// change.
func checked(text []byte, changed string, table toml.Key, change func(map[string]any) error) ([]byte, error) {
	want, got := map[string]any{}, map[string]any{}
	if err := toml.Unmarshal(text, &want); err != nil {
		return nil, err
	}
	t := want
	for i, name := range table {
		inner, ok := t[name].(map[string]any)
		if _, there := t[name]; there && !ok {
			return nil, fmt.Errorf("%s is not a table", table[:i+1])
		}
		if !ok {
			inner = map[string]any{}
			t[name] = inner
		}
		t = inner
	}
	if err := change(t); err != nil {
		return nil, err
	}
	if err := toml.Unmarshal([]byte(changed), &got); err != nil || !reflect.DeepEqual(got, want) {
		where := "its top"
		if len(table) > 0 {
			where = fmt.Sprintf("[%s]", table)
		}
		return nil, fmt.Errorf("%s is written in a way in which no line of it can be changed: change it by hand", where)
	}
	return []byte(changed), nil
}
