package benchfile

// Entry is one key of a bench that was given, with its table ("" at the top).
type Entry struct {
	Table, Key string
	Value      any // string, int or float64; nil: not given
}

// Given lists what is given, in the order of the file.
func (b Bench) Given() []Entry {
	var given []Entry
	for _, t := range b.tables() {
		for _, e := range t.entries {
			if e.value != nil && e.key != "schema" {
				given = append(given, Entry{t.name, e.key, e.value})
			}
		}
	}
	return given
}
