package fit

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
)

// headed are the members of result.json that a list of coils needs, takes those that it
// needs of some.
var (
	headed = []string{"schema", "program", "coil", "coil_state", "serial", "lot", "customer", "inductance_h",
		"capacitance_f", "resistance_ohm", "bare_resonance_hz", "bare_q", "contradicted", "record"}
	headedTakes = append([]string{"takes"}, headed...)
)

// Heading is the result in the text of a result.json with what lists show, and nothing
// else: schema, program, coil, L, C, R, resonance and Q of the coil alone, contradictions
// and the record; the takes, too, where these of the coil alone are not known. It is for
// lists of thousands: it passes over nine tenths of the text without reading them.
func Heading(text []byte) (*Result, error) {
	r := new(Result)
	kept, err := members(text, headedTakes)
	if err == nil {
		var short []byte
		if short, err = members(kept, headed); err == nil {
			err = json.Unmarshal(short, r)
		}
	}
	if err == nil && !r.BareResonance.Known() {
		r = new(Result)
		err = json.Unmarshal(kept, r)
	}
	if err != nil { // what is wrong is for the whole reader to say
		r = new(Result)
		err = json.Unmarshal(text, r)
	}
	return r, err
}

// members is the object in text with those of its members that are called so.
func members(text []byte, called []string) ([]byte, error) {
	s := scanner{text: text}
	s.take('{')
	kept := []byte{'{'}
	for first := true; s.next() != '}'; first = false {
		if !first {
			s.take(',')
		}
		begin := s.skipSpace()
		s.skipString()
		key := s.text[begin:s.at]
		s.take(':')
		s.skipSpace()
		s.skipValue()
		if s.err != nil {
			return nil, s.err
		}
		if isOneOf(key, called) {
			if len(kept) > 1 {
				kept = append(kept, ',')
			}
			kept = append(kept, s.text[begin:s.at]...)
		}
	}
	s.at++
	if s.next() != 0 {
		s.fail()
	}
	return append(kept, '}'), s.err
}

// isOneOf tells whether the key with its quotes may be one of those called so, as
// encoding/json sees it: in letters of any case, and in escapes.
func isOneOf(key []byte, called []string) bool {
	return bytes.IndexByte(key, '\\') >= 0 || slices.ContainsFunc(called, func(name string) bool {
		return len(key) >= len(name)+2 && bytes.EqualFold(key[1:len(key)-1], []byte(name))
	})
}

// scanner finds where values of a JSON text end. It does not look into them: strings and
// brackets are matched, and no more.
type scanner struct {
	text []byte
	at   int
	err  error
}

func (s *scanner) fail() {
	if s.err == nil {
		s.err = fmt.Errorf("not JSON at byte %d", s.at)
	}
	s.at = len(s.text)
}

// next is the next byte that is no space; 0 at the end.
func (s *scanner) next() byte {
	if s.skipSpace(); s.at < len(s.text) {
		return s.text[s.at]
	}
	return 0
}

func (s *scanner) skipSpace() int {
	for s.at < len(s.text) && s.text[s.at] <= ' ' {
		s.at++
	}
	return s.at
}

func (s *scanner) take(c byte) {
	if s.next() != c {
		s.fail()
		return
	}
	s.at++
}

func (s *scanner) skipString() {
	if s.at >= len(s.text) || s.text[s.at] != '"' {
		s.fail()
		return
	}
	for s.at++; ; s.at += 2 {
		length := bytes.IndexByte(s.text[min(s.at, len(s.text)):], '"')
		if length < 0 {
			s.fail()
			return
		}
		escape := bytes.IndexByte(s.text[s.at:s.at+length], '\\')
		if escape < 0 {
			s.at += length + 1
			return
		}
		s.at += escape // and what is escaped
	}
}

func (s *scanner) skipValue() {
	begin, depth := s.at, 0
	for s.at < len(s.text) {
		switch c := s.text[s.at]; c {
		case '"':
			s.skipString()
			s.at--
		case '{', '[':
			depth++
		case '}', ']':
			if depth--; depth < 0 { // that of what it is in
				if s.at == begin {
					s.fail()
				}
				return
			}
		case ',':
			if depth == 0 {
				if s.at == begin {
					s.fail()
				}
				return
			}
		}
		s.at++
	}
	s.fail()
}
