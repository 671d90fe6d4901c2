package web

import (
	"html/template"
	"net/http"

	"coilsweep/report/qr"
)

// getTablet is the address for a tablet, as a code for its camera. It holds the key, so
// the page asks for it only when somebody wants to see it.
func (w *workshop) getTablet(*http.Request) (any, error) {
	url, code := w.server.TabletURL(), ""
	if url != "" {
		var err error
		if code, err = qr.SVG(url, "QR code of the address of this page"); err != nil {
			return nil, err
		}
	}
	return shows{HTML: places{"tablet-code": fragment("tablet", struct {
		URL  string
		Code template.HTML
	}{url, template.HTML(code)})}}, nil
}
