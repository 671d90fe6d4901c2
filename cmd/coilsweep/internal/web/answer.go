package web

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net/http"

	"coilsweep/capture"
	"coilsweep/capture/atomicfile"
	"coilsweep/capture/device"
	"coilsweep/cmd/coilsweep/internal/desk"
	"coilsweep/cmd/coilsweep/internal/web/exciter"
	"coilsweep/cmd/coilsweep/internal/web/site"
	"coilsweep/cmd/coilsweep/internal/workbench"
	"coilsweep/report/figure"
)

// handler answers a request of the page: with a value, which is sent as JSON,
// or an error.
type handler func(r *http.Request) (any, error)

// route says who answers what.
func (w *workshop) route() {
	for _, one := range []struct {
		method, path string
		answer       handler
	}{
		{"GET", "/api/bench", w.getBench},
		{"PUT", "/api/bench", taking(w.putBench)},
		{"POST", "/api/bench/settings", taking(w.setBench)},
		{"POST", "/api/bench/kind", taking(w.chooseKind)},
		{"GET", "/api/devices", w.getDevices},
		{"GET", "/api/tablet", w.getTablet},
		{"GET", "/api/parts", w.getParts},
		{"PUT", "/api/parts", taking(w.putParts)},
		{"POST", "/api/parts/settings", taking(w.setParts)},
		{"POST", "/api/check", taking(w.startCheck)},
		{"POST", "/api/calibrate", taking(w.startCalibration)},
		{"POST", "/api/fixture", taking(w.startFixture)},
		{"GET", "/api/trials", w.getTrials},
		{"GET", "/api/exciter", exciter.Fields},
		{"POST", "/api/exciter", taking(exciter.Design)},
		{"POST", "/api/live", taking(w.startLive)},
		{"POST", "/api/live/steer", taking(w.steerLive)},
		{"GET", "/api/live", w.getLive},
		{"POST", "/api/stop", taking(w.stop)},

		{"GET", "/api/next", w.getNext},
		{"GET", "/api/led", w.getLed},
		{"POST", "/api/draft", taking(w.postDraft)},
		{"GET", "/api/coils", w.getCoils},
		{"POST", "/api/coils", taking(w.newCoil)},
		{"GET", "/api/coil", w.getCoil},
		{"PUT", "/api/coil", taking(w.putCoil)},
		{"POST", "/api/coil/state", taking(w.startState)},
		{"POST", "/api/coil/settings", taking(w.setCoil)},
		{"POST", "/api/coil/reading", taking(w.addReading)},
		{"POST", "/api/coil/reading/remove", taking(w.removeReading)},

		{"POST", "/api/takes", taking(w.startTake)},
		{"POST", "/api/takes/aside", taking(w.setAside)},
		{"POST", "/api/takes/back", taking(w.takeBack)},
		{"POST", "/api/partial", taking(w.importPartial)},
		{"POST", "/api/partial/remove", taking(w.removePartial)},
		{"GET", "/api/sweep", w.getSweep},

		{"POST", "/api/fit", taking(w.startFit)},
		{"GET", "/api/result", w.getResult},
		{"GET", "/api/part", w.getPart},

		{"POST", "/api/guitar", taking(w.predictGuitar)},
		{"POST", "/api/compare", taking(w.compareCoils)},
		{"POST", "/api/batch", taking(w.judgeBatch)},
		{"POST", "/api/pair", taking(w.workOutPair)},
		{"POST", "/api/labels", taking(w.labelCoils)},
		{"POST", "/api/judge", taking(func(r *http.Request, in desk.Request) (any, error) {
			return in.Judge(r.Context(), w, w.coilDir, func(lot string) (string, error) { return site.Confine(w.Root, lot) })
		})},
		{"POST", "/api/report", taking(w.writeReport)},
		{"POST", "/api/figure", taking(w.printFigure)},
		{"GET", "/api/links", w.getLinks},
	} {
		w.server.Handle(one.method, one.path, answering(one.answer))
	}
	w.server.HandleUpload("/api/import", answering(w.importTake))
}

func answering(answer handler) site.Handler {
	return func(rw http.ResponseWriter, r *http.Request) error {
		v, err := answer(r)
		if err != nil {
			return refused(err)
		}
		if _, ok := v.(accepted); ok {
			rw.Header().Set("Content-Type", "application/json")
			rw.WriteHeader(http.StatusAccepted)
		}
		return site.Answer(rw, v)
	}
}

// taking is a handler that takes what a page sends.
func taking[T any](answer func(r *http.Request, in T) (any, error)) handler {
	return func(r *http.Request) (any, error) {
		var in T
		if err := site.Decode(r, &in); err != nil {
			return nil, err
		}
		return answer(r, in)
	}
}

// accepted is the answer to a request for something that goes on after it.
type accepted map[string]any

// done is the answer to what is done, and needs no words.
type done struct{}

// wrong is what is wrong with a field.
func wrong(field, format string, args ...any) error {
	return &site.Error{Status: http.StatusUnprocessableEntity, Text: fmt.Sprintf(format, args...), Field: field}
}

// refused is err as the page hears it.
func refused(err error) *site.Error {
	e := *asRefused(err)
	e.Text = said(e.Text)
	return &e
}

func asRefused(err error) *site.Error {
	var (
		told    *site.Error
		option  *workbench.OptionError
		busy    *device.BusyError
		key     *capture.KeyError
		nothing *figure.NothingToDrawError
		path    *fs.PathError
	)
	e := site.Errorf(http.StatusUnprocessableEntity, "%v", err)
	switch {
	case errors.As(err, &told):
		return told
	case errors.As(err, &busy):
		e.Status, e.Running = http.StatusConflict, busy.Running.Name
	case errors.Is(err, device.ErrEnded), errors.Is(err, context.Canceled):
		e.Status, e.Text = http.StatusServiceUnavailable, "the page is closing"
	case errors.Is(err, capture.ErrTakeExists):
		e.Status, e.Field, e.Exists = http.StatusConflict, "take", true
	case errors.Is(err, atomicfile.ErrChanged), errors.Is(err, capture.ErrFolderExists):
		e.Status = http.StatusConflict
	case errors.As(err, &key):
		e.Field, e.Text = key.Key, key.Err.Error()
	case errors.As(err, &option):
		e.Field, e.Text = option.Option, option.Text()
	case errors.As(err, &nothing), errors.Is(err, capture.ErrNotFolder), errors.Is(err, figure.ErrNoLine):
		e.Status = http.StatusNotFound
	case errors.As(err, &path) && !errors.Is(err, fs.ErrNotExist):
		e.Status = http.StatusInternalServerError
	}
	return e
}
