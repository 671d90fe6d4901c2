package wav

import (
	"encoding/binary"
	"strings"
)

// Info is text in a file about its audio, as a LIST chunk of type INFO has it [1], in UTF-8.
// What is empty is not there.
type Info struct {
	Name     string // INAM
	Created  string // ICRD: a date, "2026-11-25", and more after it
	Software string // ISFT
	Comment  string // ICMT
}

// maxInfo is the most that is read of a LIST chunk, and maxInfoText the most that is written
// of one text, in bytes.
const (
	maxInfo     = 1 << 16
	maxInfoText = 1 << 10
)

// fields are the texts by the names of their chunks, in the order of the file.
func (i *Info) fields() []struct {
	id   string
	text *string
} {
	return []struct {
		id   string
		text *string
	}{{"INAM", &i.Name}, {"ICRD", &i.Created}, {"ISFT", &i.Software}, {"ICMT", &i.Comment}}
}

// encode is the LIST chunk; nothing of no text. Texts end with a zero byte and have an even
// length.
func (i Info) encode() []byte {
	le := binary.LittleEndian
	body := []byte("INFO")
	for _, f := range i.fields() {
		text := strings.ToValidUTF8(strings.ReplaceAll(*f.text, "\x00", ""), "")
		if len(text) > maxInfoText {
			text = strings.ToValidUTF8(text[:maxInfoText], "")
		}
		if text == "" {
			continue
		}
		body = append(body, f.id...)
		body = le.AppendUint32(body, uint32(len(text)+1))
		body = append(append(body, text...), 0)
		if len(body)%2 == 1 {
			body = append(body, 0)
		}
	}
	if len(body) == 4 {
		return nil
	}
	return append(le.AppendUint32([]byte("LIST"), uint32(len(body))), body...)
}

// decode takes what it knows from the body of a LIST chunk. What is damaged is passed over: it
// is no audio.
func (i *Info) decode(body []byte) {
	if len(body) < 4 || string(body[:4]) != "INFO" {
		return
	}
	for b := body[4:]; len(b) >= 8; {
		id, n := string(b[:4]), int64(binary.LittleEndian.Uint32(b[4:]))
		b = b[8:]
		if n > int64(len(b)) {
			return
		}
		for _, f := range i.fields() {
			if f.id == id {
				text, _, _ := strings.Cut(string(b[:n]), "\x00")
				*f.text = strings.ToValidUTF8(text, "\ufffd")
			}
		}
		b = b[min(n+n&1, int64(len(b))):]
	}
}
