package tomlkey

import (
	"strconv"
	"strings"
)

type kind int

const (
	setting kind = iota // key = value
	header              // [table] or [[table]]
	comment             // a comment that reads as a setting
)

// statement is a setting, with all the lines that its value takes, or the
// header of a table.
type statement struct {
	kind     kind
	from, to int      // of its lines, the last line feed included
	table    []string // the table it stands in, or begins
	key      []string // of a setting
	value    [2]int   // where the value begins and ends
	array    bool     // the table is one of an array
}

// path is the whole name of what the statement sets or begins.
func (s statement) path() []string {
	return append(append([]string{}, s.table...), s.key...)
}

// scan lists the statements of text. Lines that are none, in a text that is not
// TOML, are passed over.
func scan(text string) []statement {
	var all []statement
	var table, example []string // example: the table of a header in a comment
	array := false
	for at := 0; at < len(text); {
		line := text[at:lineEnd(text, at)]
		bare := strings.TrimSpace(line)
		switch {
		case bare == "":
			example = nil
		case bare[0] == '#':
			body := at + strings.Index(line, "#") + 1
			s, ok := statementAt(text[:at+len(line)], body)
			if ok && s.kind == header {
				example = s.table
			}
			if ok && s.kind == setting && example == nil {
				s.kind, s.from, s.table, s.array = comment, at, table, array
				all = append(all, s)
			}
		default:
			s, ok := statementAt(text, at)
			if !ok {
				break
			}
			if s.kind == header {
				table, array = s.table, s.array
			}
			s.table, s.array = table, array
			all = append(all, s)
			at, example = s.to, nil
			continue
		}
		at += len(line)
	}
	return all
}

// lineEnd is behind the line feed of the line that holds at.
func lineEnd(text string, at int) int {
	if n := strings.IndexByte(text[at:], '\n'); n >= 0 {
		return at + n + 1
	}
	return len(text)
}

// statementAt reads the statement whose line begins at.
func statementAt(text string, at int) (s statement, ok bool) {
	s.from = at
	at = blanks(text, at)
	if strings.HasPrefix(text[at:], "[") {
		s.kind = header
		if s.array = strings.HasPrefix(text[at:], "[["); s.array {
			at++
		}
		s.table, at, ok = keyAt(text, at+1)
		if !ok || !strings.HasPrefix(text[at:], "]") {
			return s, false
		}
		s.to = lineEnd(text, at)
		return s, true
	}
	s.key, at, ok = keyAt(text, at)
	if !ok || !strings.HasPrefix(text[at:], "=") {
		return s, false
	}
	s.value[0] = blanks(text, at+1)
	s.value[1] = valueEnd(text, s.value[0])
	s.to = lineEnd(text, s.value[1])
	return s, s.value[1] > s.value[0]
}

func blanks(text string, at int) int {
	return len(text) - len(strings.TrimLeft(text[at:], " \t"))
}

// keyAt reads a key, dotted or not, and the blanks behind it.
func keyAt(text string, at int) (key []string, next int, ok bool) {
	for {
		at = blanks(text, at)
		from := at
		switch {
		case at < len(text) && (text[at] == '"' || text[at] == '\''):
			at = stringEnd(text, at)
			quoted := text[from:at]
			if len(quoted) < 2 {
				return nil, at, false
			}
			name := quoted[1 : len(quoted)-1]
			if plain, err := strconv.Unquote(quoted); err == nil && quoted[0] == '"' {
				name = plain
			}
			key = append(key, name)
		default:
			for at < len(text) && isBare(text[at]) {
				at++
			}
			if at == from {
				return nil, at, false
			}
			key = append(key, text[from:at])
		}
		at = blanks(text, at)
		if at == len(text) || text[at] != '.' {
			return key, at, true
		}
		at++
	}
}

func isBare(c byte) bool {
	return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == '-' || c == '_'
}

// stringEnd is behind the string that begins at, or at the end of its line
// where it is not closed.
func stringEnd(text string, at int) int {
	quote := text[at]
	long := strings.Repeat(string(quote), 3)
	if strings.HasPrefix(text[at:], long) {
		for i := at + 3; i < len(text); i++ {
			switch {
			case text[i] == '\\' && quote == '"':
				i++
			case strings.HasPrefix(text[i:], long):
				// Up to two more quotes belong to the string.
				for i += 3; i < len(text) && text[i] == quote; i++ {
				}
				return i
			}
		}
		return len(text)
	}
	for i := at + 1; i < len(text) && text[i] != '\n'; i++ {
		switch {
		case text[i] == '\\' && quote == '"':
			i++
		case text[i] == quote:
			return i + 1
		}
	}
	return lineEnd(text, at)
}

// valueEnd is behind the value that begins at, blanks left aside.
func valueEnd(text string, at int) int {
	depth, end := 0, at
	for at < len(text) {
		switch c := text[at]; {
		case c == '"' || c == '\'':
			at = stringEnd(text, at)
			end = at
			continue
		case c == '[' || c == '{':
			depth++
		case c == ']' || c == '}':
			depth--
		case c == '#':
			if depth <= 0 {
				return end
			}
			at = lineEnd(text, at)
			continue
		case c == '\n':
			if depth <= 0 {
				return end
			}
		}
		if c := text[at]; c != ' ' && c != '\t' && c != '\r' && c != '\n' {
			end = at + 1
		}
		at++
	}
	return min(end, len(text))
}
