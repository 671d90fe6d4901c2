// Package edited is files that a page edits, as texts with their checksums.
package edited

import "coilsweep/capture/atomicfile"

// Text is the text of a file as a page wants it, in place of the one that it has seen.
type Text struct {
	SHA256 string  `json:"sha256"` // of what it has seen; empty: no file
	Text   *string `json:"text"`   // nil: the file is to be removed
}

// Bytes are the text; nil: no file.
func (t Text) Bytes() []byte {
	if t.Text == nil {
		return nil
	}
	return []byte(*t.Text)
}

// Answer tells a page what the file is now that it has changed, so that who undoes the change
// takes back nothing else.
type Answer struct {
	SHA256 string `json:"sha256"` // empty: there is no file
}

// Kept is the answer to a page whose text was kept; nil: the file was removed.
func Kept(text []byte) Answer {
	if text == nil {
		return Answer{}
	}
	return Answer{atomicfile.Sum(text)}
}
