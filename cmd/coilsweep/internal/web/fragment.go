package web

import "coilsweep/cmd/coilsweep/internal/web/markup"

// What is shown is written by package markup; here it goes by shorter names.
type (
	places = markup.Places
	shows  = markup.Shows
	action = markup.Action
)

var (
	fragment, text, said, allSaid = markup.Fragment, markup.Text, markup.Said, markup.AllSaid
	figures, drawing, partOf      = markup.Figures, markup.Drawing, markup.PartOf
)
