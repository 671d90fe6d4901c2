package evaluation

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"coilsweep/capture"
	"coilsweep/capture/record"
)

// A coil whose takes are kept as FLAC has the numbers and the curves that it has from the
// WAV files, to the last bit; what a fit left there is out of date when such audio changes.
func TestFitOfAudioKeptAsFLAC(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "coil")
	from := must(capture.OpenFolder(original()))
	check(capture.CreateFolder(dir, from.Coil))
	to := must(capture.OpenFolder(dir))
	room := map[string]int64{}
	for _, name := range takes {
		take := must(from.ReadTake(name))
		room["wav"] += from.AudioStamp(name).Bytes
		take.Audio.File = capture.FLACFile
		kept := must(record.Import(t.Context(), to, take, record.ImportOptions{Recording: audioOf(original(), name)}))
		if kept.Audio.File != capture.FLACFile {
			t.Fatalf("take %s: %+v", name, kept.Audio)
		}
		room["flac"] += to.AudioStamp(name).Bytes
	}
	t.Logf("%d bytes as WAV, %d as FLAC, %.2f times fewer", room["wav"], room["flac"],
		float64(room["wav"])/float64(room["flac"]))
	if room["wav"] < 2*room["flac"] {
		t.Error("FLAC takes more than half the room")
	}
	texts := map[string][]byte{}
	for _, dir := range []string{dir, original()} {
		e := must(Coil(t.Context(), dir, Options{Fit: program, Anew: true}))
		check(e.Save(nothing))
		e.Result.Record = nil // checksums and times
		for i := range e.Result.Takes {
			e.Result.Takes[i].AudioSHA256 = "" // of the files
		}
		texts[dir] = must(json.Marshal(e.Result))
		for _, take := range e.Result.Takes {
			if take.Curve == nil {
				t.Fatalf("take %s of %s has no curve", take.Name, dir)
			}
			texts[dir] = fmt.Appendf(texts[dir], "\n%v", *take.Curve) // shortest digits that tell bits apart
		}
	}
	if !bytes.Equal(texts[dir], texts[original()]) {
		a, b := texts[dir], texts[original()]
		at := 0
		for at < min(len(a), len(b)) && a[at] == b[at] {
			at++
		}
		t.Errorf("from byte %d on:\nof FLAC:\n%.200s\nof WAV:\n%.200s", at, a[max(0, at-100):], b[max(0, at-100):])
	}
	count := searches(t)
	e := must(Coil(t.Context(), dir, Options{Fit: program, Curves: true}))
	if *count != 0 || e.Result.Takes[0].Curve == nil {
		t.Errorf("%d fits for curves that are kept", *count)
	}
	path := filepath.Join(to.TakeDir("bare"), capture.FLACFile)
	check(os.WriteFile(path, append(must(os.ReadFile(path)), 0), 0o666))
	if e := must(Coil(t.Context(), dir, Options{Fit: program, Circuit: true})); len(e.LeftOut) != 1 {
		t.Errorf("changed audio is used; left out are %q", e.LeftOut)
	}
}
