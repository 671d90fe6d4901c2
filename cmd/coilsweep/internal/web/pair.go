package web

import (
	"net/http"
	"path/filepath"

	"coilsweep/cmd/coilsweep/internal/inguitar"
	"coilsweep/cmd/coilsweep/internal/web/listed"
	"coilsweep/cmd/coilsweep/internal/web/several"
	"coilsweep/cmd/coilsweep/internal/web/site"
	"coilsweep/report/data"
)

// workOutPair works out the two coils of a pair together, as 'pair' does.
func (w *workshop) workOutPair(r *http.Request, in struct {
	Pair    string            `json:"pair"`    // its folder
	Options map[string]string `json:"options"` // of the guitar, and a partial split
	Ticket  string            `json:"ticket"`
	CSV     data.CSVOptions
}) (any, error) {
	options := inguitar.NewPair()
	if err := options.Fill(in.Options); err != nil {
		return nil, err
	}
	dir, err := site.Confine(w.Root, in.Pair)
	if err != nil {
		return nil, err
	}
	list, _, err := w.known(r.Context())
	if err != nil {
		return nil, err
	}
	// Its folders may be elsewhere: only what is served is read.
	coils, ok := listed.PairIn(list, in.Pair)
	if !ok {
		return nil, wrong("pair", "There is no pair in %s whose coils are all in the folder that is served.", in.Pair)
	}
	for _, coil := range coils {
		w.mend(filepath.Join(w.Root, filepath.FromSlash(coil)))
	}
	result, unfit, err := options.Run(r.Context(), dir)
	if err != nil {
		return nil, err
	}
	shown, err := several.Pair(result, in.CSV, w.Program)
	if err != nil {
		return nil, err
	}
	left := ""
	if unfit != nil {
		left = unfit.Error()
	}
	return w.many(shown, left, w.line("pair", []string{in.Pair}, 1, in.Options))
}
