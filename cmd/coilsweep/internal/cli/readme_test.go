package cli

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestReadmeNamesCommands: the README's table names every command.
func TestReadmeNamesCommands(t *testing.T) {
	readme, err := os.ReadFile(filepath.Join("..", "..", "..", "..", "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	for _, command := range newRoot(&console{}).Commands() {
		name := command.Name()
		if command.Hidden || name == "completion" {
			continue
		}
		if !strings.Contains(string(readme), "`"+name) {
			t.Errorf("README.md does not name the command %q", name)
		}
	}
}
