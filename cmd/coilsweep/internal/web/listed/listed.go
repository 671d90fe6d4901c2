// Package listed is the list of coils as the bench page shows it, of which the page is told
// what has changed since it heard of it last.
package listed

import (
	"fmt"
	"html/template"
	"slices"
	"strings"
	"sync"
	"time"

	"coilsweep/report/notation"
	"coilsweep/report/words"
)

// Line is a coil in the list.
type Line struct {
	Coil     string        `json:"coil"`
	Label    string        `json:"label"`    // where coils are chosen: with the folder if that says more
	Known    bool          `json:"known"`    // L and C are known apart
	Measured bool          `json:"measured"` // there is a result
	Sought   string        `json:"sought"`   // what a filter looks at
	Pair     string        `json:"pair"`     // folder of the pair that it is of; empty: of none
	Row      template.HTML `json:"row"`      // cells of the table
}

// Coil is what a line is made of.
type Coil struct {
	State string // of the result, in words
	// Measured: there is a result.
	Measured     bool
	words.Listed // its folder as the page names it
}

// Lines are the lines of coils, a column with one prefix. starred: numbers of one are those
// of the coil with its fixture.
func Lines(coils []Coil) (lines []Line, starred bool) {
	rows := make([]row, len(coils))
	list := notation.Each(coils, func(c Coil) words.Listed { return c.Listed })
	texts := words.ListTexts(list)
	for i, c := range coils {
		r := &rows[i]
		*r = row{Coil: c.Folder, Name: notation.Visible(c.Coil), Takes: c.Takes, State: c.State, Flags: c.Flags}
		if r.Name == "" {
			r.Name = notation.Visible(c.Folder)
		}
		pairOf := ""
		for _, text := range texts {
			r.Texts = append(r.Texts, notation.Visible(text.Of(c.Listed)))
		}
		if c.Pair != nil {
			pairOf = c.Pair.Folder
		}
		line := Line{Coil: c.Folder, Pair: pairOf, Label: r.Name, Measured: c.Measured, Sought: c.Sought(),
			Known: c.Result != nil && c.Result.Inductance.Known()}
		if c.Coil != c.Folder && c.Coil != "" {
			line.Label += " (" + notation.Visible(c.Folder) + ")"
		}
		lines = append(lines, line)
	}
	for _, column := range words.ListColumns {
		for i, cell := range new(notation.Notes).Values(column.Unit, notation.Each(list, column.Of)...) {
			_, _, of := list[i].Resonance()
			switch loaded := strings.HasPrefix(of, "take ") && (column.Key == "resonance" || column.Key == "q"); {
			case !column.Of(list[i]).Known():
				cell = notation.None
			case loaded:
				cell, starred = cell+"*", true
			}
			rows[i].Cells = append(rows[i].Cells, notation.Tied(cell))
		}
	}
	for i := range lines {
		var b strings.Builder
		if err := rowTemplate.Execute(&b, rows[i]); err != nil {
			panic(err) // a template that does not go with its view
		}
		lines[i].Row = template.HTML(b.String())
	}
	return lines, starred
}

type row struct {
	Coil, Name string
	Texts      []string // of words.ListTexts
	Takes      int
	State      string
	Flags      []string
	Cells      []string // of words.ListColumns
}

var rowTemplate = template.Must(template.New("").Funcs(template.FuncMap{"shown": notation.Visible}).Parse(
	`<th scope="row" class="long"><label class="pick">
  <input type="checkbox" value="{{.Coil}}" aria-label="{{.Name}}"{{if not .Takes}} disabled{{end}}>
  <span><bdi>{{.Name}}</bdi>{{if ne .Name .Coil}} <small><bdi>{{shown .Coil}}</bdi></small>{{end}}</span></label></th>
{{range .Texts}}<td class="text" dir="auto">{{.}}</td>{{end}}<td>{{.Takes}}</td><td class="text">{{.State}}{{range .Flags}} <span class="flag">{{shown .}}</span>{{end}}</td>
{{range .Cells}}<td>{{.}}</td>{{end}}
<td><button type="button" class="as-link" data-do="choose" data-coil="{{.Coil}}" aria-label="Show {{.Name}}">Show</button></td>`))

// Changes are what a page has to be told of the list.
type Changes struct {
	Revision string   `json:"revision"` // to be named when it asks again
	Whole    bool     `json:"whole"`    // it is told everything
	Coils    []string `json:"coils"`    // all, in order; null: they are the same
	Lines    []Line   `json:"lines"`
}

// Told is what pages have been told. The zero value has told nothing.
type Told struct {
	mu       sync.Mutex
	start    string // of this program: numbers begin anew with it
	revision int
	lines    map[string]told
	order    []string
	ordered  int // at which revision
}

type told struct {
	Line
	at int // revision
}

// Since tells what is different now from what was told at a revision; empty or of another
// start: everything.
func (t *Told) Since(revision string, now []Line) Changes {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.lines == nil {
		t.start, t.lines = fmt.Sprintf("%x", time.Now().UnixNano()), map[string]told{}
	}
	next, order := t.revision+1, make([]string, len(now))
	lines := map[string]told{}
	changed := false
	for i, line := range now {
		order[i] = line.Coil
		if old, ok := t.lines[line.Coil]; ok && old.Line == line {
			lines[line.Coil] = old
			continue
		}
		lines[line.Coil], changed = told{line, next}, true
	}
	if !slices.Equal(order, t.order) {
		t.order, t.ordered, changed = order, next, true
	}
	if t.lines = lines; changed {
		t.revision = next
	}
	c := Changes{Revision: fmt.Sprintf("%s-%d", t.start, t.revision), Lines: []Line{}}
	seen := 0
	if _, err := fmt.Sscanf(revision, t.start+"-%d", &seen); err != nil || seen > t.revision {
		c.Whole, seen = true, -1
	}
	if t.ordered > seen {
		c.Coils = order
	}
	for _, line := range now {
		if lines[line.Coil].at > seen {
			c.Lines = append(c.Lines, line)
		}
	}
	return c
}
