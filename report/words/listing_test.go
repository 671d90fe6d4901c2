package words_test

import (
	"testing"

	"coilsweep/report/internal/invented"
	"coilsweep/report/words"
)

func TestSort(t *testing.T) {
	for _, test := range []struct {
		key        string
		descending bool
		want       string // last letters of the folders
	}{
		{"folder", false, "abcde"}, {"folder", true, "edcba"},
		{"coil", false, "cadbe"}, // = b m ne ne(w)
		{"date", false, "daebc"}, {"date", true, "baedc"},
		{"l", false, "adbce"}, {"l", true, "dabce"},
		{"resonance", true, "adbce"},
	} {
		list := invented.List()
		if !words.SortList(list, test.key, test.descending) {
			t.Errorf("no key %q", test.key)
		}
		got := ""
		for _, l := range list {
			got += l.Folder[len(l.Folder)-1:]
		}
		if got != test.want {
			t.Errorf("by %s, descending %v: %s, want %s", test.key, test.descending, got, test.want)
		}
	}
	if words.SortList(invented.List(), "weight", false) {
		t.Error("sorted by weight")
	}
	for _, key := range words.ListKeys() {
		if !words.SortList(nil, key, false) {
			t.Errorf("does not know its own key %q", key)
		}
	}
}
