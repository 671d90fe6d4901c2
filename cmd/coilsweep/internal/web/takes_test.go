package web

import (
	"context"
	"errors"
	"testing"

	"coilsweep/cmd/coilsweep/internal/workbench"
)

// An import waits while there is another, and gives up with who asked.
func TestImportsGoOneByOne(t *testing.T) {
	w := &workshop{importing: make(chan struct{}, 1)}
	w.importing <- struct{}{}
	asked, give := context.WithCancel(t.Context())
	give()
	if _, err := w.importAlone(asked, workbench.NewImport("test"), t.TempDir()); !errors.Is(err, context.Canceled) {
		t.Errorf("beside another: %v", err)
	}
	<-w.importing
	_, err := w.importAlone(t.Context(), workbench.NewImport("test"), t.TempDir())
	if option, ok := errors.AsType[*workbench.OptionError](err); !ok || option.Option != "take" || len(w.importing) > 0 {
		t.Errorf("alone: %v", err)
	}
}
