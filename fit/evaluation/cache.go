package evaluation

import (
	"bytes"
	"crypto/sha256"
	"encoding/gob"
	"errors"
	"fmt"
	"path/filepath"
	"reflect"
	"runtime"
	"slices"

	"coilsweep/capture"
	"coilsweep/capture/atomicfile"
	"coilsweep/capture/rooted"
	"coilsweep/fit"
	"coilsweep/fit/joint"
	"coilsweep/fit/response"
)

// cache holds the findings of a fit that are not in result.json, so that a report
// after a fit costs no fit: the responses of the takes and where the searches
// ended. In the file a line of text stands before it, then the SHA-256 of the
// rest, which is the cache by encoding/gob. A cache is used beside the
// result.json that was written with it, while that is up to date, or ahead of the
// next one; a missing, damaged or foreign one is ignored.
//
// Beside a result the audio is not read while its size and time of modification are
// those that it had when its response was estimated. Where they differ, as in a copy of
// the folder, it is read and its checksum compared. A file of the same size that was
// changed and given its old time back is noticed by the next fit only.
type cache struct {
	Key      cacheKey
	Takes    []cachedTake // those with a response
	Snapshot joint.Snapshot

	ahead bool // of a result that is still to be written: audio is compared anyway
}

// cacheKey identifies the fit that a cache belongs to.
type cacheKey struct {
	// Analysis is fit.Analysis with the compiler and the processor that the program was
	// built for: on another, floating-point numbers may round otherwise.
	Analysis   string
	Held       capture.Fingerprint
	Models     []string
	SharedGain bool
}

type cachedTake struct {
	Name     string
	Audio    capture.AudioStamp
	Response *response.Response
	Curve    *fit.Curve // of a take that was used
}

const (
	// cacheLine begins the file; its number is that of the format.
	cacheLine = "coilsweep.cache/5: what the last fit found, so that a report costs no fit. Delete it at any time: a " +
		"fit makes it again.\n"
	// maxCache is the largest file in bytes; three takes have some 400 kB.
	maxCache = 16 << 20
)

func keyOf(held capture.Fingerprint, o fit.OptionsRecord) cacheKey {
	return cacheKey{fmt.Sprintf("%d %s %s", fit.Analysis, runtime.Version(), runtime.GOARCH), held, o.Models,
		o.SharedGain}
}

func (k cacheKey) equal(l cacheKey) bool {
	return k.Analysis == l.Analysis && k.Held.Equal(l.Held) && slices.Equal(k.Models, l.Models) &&
		k.SharedGain == l.SharedGain
}

// writeCache keeps the findings of the evaluation, unless it has no circuit or is
// too large.
func (e *Evaluation) writeCache() error {
	if e.fitted == nil {
		return nil
	}
	return e.writeAs(e.Result.Record.Options, e.fitted.Snapshot())
}

// writeAhead keeps the search of a fit of all usable takes with o, for when that is asked
// for; not where coil.toml has been edited since it was read for that.
func (e *Evaluation) writeAhead(fitted *joint.Fitted, o fit.Options) error {
	now, err := capture.OpenFolder(e.Folder.Dir)
	if err != nil || !reflect.DeepEqual(now.Coil, e.Folder.Coil) {
		return err
	}
	return e.writeAs(o.Record(), fitted.Snapshot())
}

// writeResponses keeps the responses alone, of a folder whose result is out of date.
func (e *Evaluation) writeResponses() error {
	return e.writeAs(fit.OptionsRecord{}, joint.Snapshot{})
}

// writeAs writes a search with o, with the responses of the takes, and their curves where
// there is a result.
func (e *Evaluation) writeAs(o fit.OptionsRecord, s joint.Snapshot) error {
	c := cache{Key: keyOf(e.held, o), Snapshot: s}
	for _, t := range e.Takes {
		if in, ok := e.Input(t.Name); ok {
			k := cachedTake{Name: t.Name, Audio: e.audio[t.Name], Response: in.Response}
			if r, ok := takeOf(e.Result, t.Name); ok {
				k.Curve = r.Curve
			}
			c.Takes = append(c.Takes, k)
		}
	}
	data, err := c.encode()
	if err != nil || len(data) > maxCache {
		return err
	}
	return atomicfile.Write(filepath.Join(e.Folder.Dir, CacheFile), data)
}

func (c *cache) encode() ([]byte, error) {
	var body bytes.Buffer
	if err := gob.NewEncoder(&body).Encode(c); err != nil {
		return nil, fmt.Errorf("%s: %w", CacheFile, err)
	}
	sum := sha256.Sum256(body.Bytes())
	return slices.Concat([]byte(cacheLine), sum[:], body.Bytes()), nil
}

// readCache reads the cache in a coil folder; nil where there is none of that key.
func readCache(dir string, key cacheKey) *cache {
	if c := openCache(dir); c != nil && c.Key.equal(key) {
		return c
	}
	return nil
}

// readAhead is readCache of a search that a result is still to be made of.
func readAhead(dir string, key cacheKey) *cache {
	c := readCache(dir, key)
	if c == nil || len(c.Snapshot.Ends) == 0 {
		return nil // responses alone are for the next take
	}
	c.ahead = true
	return c
}

// readResponses reads what the cache in a coil folder has of the takes that are still as
// they were, whatever else has changed: a response depends on its take alone. nil where
// there is no cache of this analysis.
func readResponses(dir string, held capture.Fingerprint) *cache {
	c := openCache(dir)
	if c == nil || c.Key.Analysis != keyOf(held, fit.OptionsRecord{}).Analysis {
		return nil
	}
	c.Takes = slices.DeleteFunc(c.Takes, func(k cachedTake) bool {
		same := func(h capture.TakeFingerprint) bool { return h.Name == k.Name && slices.Contains(held.Takes, h) }
		return !slices.ContainsFunc(c.Key.Held.Takes, same)
	})
	return c
}

func openCache(dir string) *cache {
	path := filepath.Join(dir, CacheFile)
	if info, err := rooted.Lstat(path); err != nil || !info.Mode().IsRegular() {
		return nil // a link leads to what is of another folder
	}
	data, err := atomicfile.Read(path, maxCache)
	if err != nil {
		return nil
	}
	c, err := decodeCache(data)
	if err != nil {
		return nil
	}
	return c
}

var errNoCache = errors.New("not a whole " + CacheFile + " of this format")

func decodeCache(data []byte) (*cache, error) {
	rest, ok := bytes.CutPrefix(data, []byte(cacheLine))
	if !ok || len(rest) < sha256.Size {
		return nil, errNoCache
	}
	sum, body := rest[:sha256.Size], rest[sha256.Size:]
	if sha256.Sum256(body) != [sha256.Size]byte(sum) {
		return nil, errNoCache
	}
	return decodeBody(body)
}

// decodeBody reads a cache whose checksum is right; the checksum does not tell
// who made it.
func decodeBody(body []byte) (c *cache, err error) {
	defer func() {
		if recover() != nil {
			c, err = nil, errNoCache
		}
	}()
	c = &cache{}
	if err := gob.NewDecoder(bytes.NewReader(body)).Decode(c); err != nil {
		return nil, err
	}
	if slices.ContainsFunc(c.Takes, func(t cachedTake) bool { return t.Response == nil }) {
		return nil, errNoCache
	}
	return c, nil
}

// curves puts the curves into r, the result of the same fit; false where one is missing,
// or the audio behind it is no longer what it was.
func (c *cache) curves(folder *capture.Folder, r *fit.Result) bool {
	if c == nil {
		return false
	}
	for i := range r.Takes {
		t := &r.Takes[i]
		at := slices.IndexFunc(c.Takes, func(k cachedTake) bool { return k.Name == t.Name })
		if !t.Used {
			continue
		}
		if at < 0 || c.Takes[at].Curve == nil || c.Takes[at].Audio != folder.AudioStamp(t.Name) {
			return false
		}
		t.Curve = c.Takes[at].Curve
	}
	return true
}

// response is that of the take t while its audio is what it was; else nil.
func (c *cache) response(folder *capture.Folder, t capture.Take) *response.Response {
	if c == nil {
		return nil
	}
	at := slices.IndexFunc(c.Takes, func(k cachedTake) bool { return k.Name == t.Name })
	if at < 0 || (c.ahead || c.Takes[at].Audio != folder.AudioStamp(t.Name)) && folder.CheckAudio(t) != nil {
		return nil
	}
	return c.Takes[at].Response
}
