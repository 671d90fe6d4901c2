package page

import (
	"bytes"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"io/fs"
	"path"
	"strings"

	"coilsweep/report/notation"
	"coilsweep/report/words"

	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/ast"
	"github.com/yuin/goldmark/parser"
	"github.com/yuin/goldmark/renderer/html"
	"github.com/yuin/goldmark/text"
	"github.com/yuin/goldmark/util"
)

var guideTemplate = framed("{{.Body}}")

// cautionsHere is where a guide's text has the cautions.
const cautionsHere = "<!-- cautions -->"

// Guide writes a text in CommonMark as one self-contained page in the look of
// the report: its pictures, SVG files of pictures, and the cautions are put into
// it. An error names the picture that is missing.
func Guide(w io.Writer, title string, markdown []byte, pictures fs.FS) error {
	inline := &inlinePictures{pictures: pictures}
	md := goldmark.New(
		goldmark.WithParserOptions(parser.WithAutoHeadingID(),
			parser.WithASTTransformers(util.Prioritized(inline, 100))),
		goldmark.WithRendererOptions(html.WithUnsafe())) // lets SVG pass as a data address; the text is ours
	var cautions, body bytes.Buffer
	for _, c := range words.Cautions() {
		head, rest, _ := strings.Cut(c, ": ")
		fmt.Fprintf(&cautions, "- **%s.** %s\n", head, notation.UpperFirst(rest))
	}
	markdown = bytes.ReplaceAll(markdown, []byte(cautionsHere), cautions.Bytes())
	if err := md.Convert(markdown, &body); err != nil {
		return fmt.Errorf("guide: %w", err)
	}
	if inline.err != nil {
		return fmt.Errorf("guide: %w", inline.err)
	}
	page := struct {
		frame
		Body template.HTML
	}{newFrame("", title, source("guide.css")), template.HTML(body.String())}
	return writePage(w, guideTemplate, page, nil, "guide")
}

// inlinePictures replaces the address of every picture by the picture itself.
type inlinePictures struct {
	pictures fs.FS
	err      error
}

// Transform implements parser.ASTTransformer.
func (p *inlinePictures) Transform(doc *ast.Document, _ text.Reader, _ parser.Context) {
	p.err = ast.Walk(doc, func(n ast.Node, entering bool) (ast.WalkStatus, error) {
		image, ok := n.(*ast.Image)
		if !ok || !entering {
			return ast.WalkContinue, nil
		}
		data, err := fs.ReadFile(p.pictures, path.Clean(string(image.Destination)))
		if err != nil {
			return ast.WalkStop, err
		}
		image.Destination = []byte("data:image/svg+xml;base64," + base64.StdEncoding.EncodeToString(data))
		return ast.WalkContinue, nil
	})
}
