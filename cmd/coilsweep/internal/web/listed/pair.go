package listed

import (
	"path/filepath"
	"slices"
	"strings"

	"coilsweep/fit/pair"
	"coilsweep/report/words"
)

// Pair is a pair in the list.
type Pair struct {
	Folder, Name string
	Missing      string // of its coil folders, in words; empty: all are there
}

// Pairs are those of which a coil is in the list.
func Pairs(list []words.Listed) (pairs []Pair) {
	for _, l := range list {
		if l.Pair == nil || slices.ContainsFunc(pairs, func(p Pair) bool { return p.Folder == l.Pair.Folder }) {
			continue
		}
		_, missing := coilsOf(list, l.Pair.Folder)
		pairs = append(pairs, Pair{l.Pair.Folder, l.Pair.Name, strings.Join(missing, ", ")})
	}
	return pairs
}

// PairIn are the coils of the pair in a folder: the first, the second and both; ok: all are
// in the list.
func PairIn(list []words.Listed, folder string) (coils []string, ok bool) {
	coils, missing := coilsOf(list, folder)
	return coils, len(missing) == 0
}

func coilsOf(list []words.Listed, folder string) (coils, missing []string) {
	for _, role := range []string{pair.First, pair.Second, pair.Both} {
		at := slices.IndexFunc(list, func(l words.Listed) bool {
			return l.Pair != nil && *l.Pair == pair.Member{Folder: folder, Name: l.Pair.Name, Role: role}
		})
		if at < 0 {
			missing = append(missing, words.PairRole(role))
			continue
		}
		coils = append(coils, list[at].Folder)
	}
	return coils, missing
}

// NotOneCoil warns where the takes in a coil folder below root are those of both coils of a
// pair; empty: they are not.
func NotOneCoil(root, dir string) string {
	m := pair.Members(root, []string{dir})[filepath.Clean(dir)]
	if m.Role != pair.Both {
		return ""
	}
	return "The takes here are those of both coils of the pair " + m.Name + ", connected: a result as of one coil says " +
		"nothing of them. Work the pair out in step 6."
}
