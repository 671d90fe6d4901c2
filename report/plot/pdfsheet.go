package plot

import (
	"image/color"
	"io"

	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"codeberg.org/go-pdf/fpdf"
)

// pdfSheet is a sheet as a PDF page of its size; the font's glyphs that are
// used are embedded.
type pdfSheet struct {
	page *fpdf.Fpdf
	k    float64 // pt per px
}

const pdfFont = "LiberationSans"

func newPDFSheet(a about) *pdfSheet {
	s := &pdfSheet{k: a.mmPerPx / mmPerPt}
	s.page = fpdf.NewCustom(&fpdf.InitType{UnitStr: "pt", Size: fpdf.SizeType{Wd: s.k * a.width, Ht: s.k * a.height}})
	s.page.SetMargins(0, 0, 0)
	s.page.SetAutoPageBreak(false, 0)
	s.page.SetTitle(a.title, true)
	s.page.SetSubject(a.description, true)
	s.page.SetLang("en")
	s.page.SetCreator("coilsweep", true)
	s.page.SetCatalogSort(true)
	s.page.SetCreationDate(a.made)
	s.page.SetModificationDate(a.made)
	s.page.AddUTF8FontFromBytes(pdfFont, "", liberationsansregular.TTF)
	s.page.AddPage()
	s.page.SetFont(pdfFont, "", s.k*textSize)
	s.page.SetLineJoinStyle("round")
	return s
}

func (s *pdfSheet) path(o outline) { o.placed(s.k, point{}).draw(s.page, s.page.CurveBezierCubicTo) }

func (s *pdfSheet) fill(o outline, c color.NRGBA, opacity float64) {
	s.page.SetAlpha(opacity, "Normal")
	s.page.SetFillColor(int(c.R), int(c.G), int(c.B))
	s.path(o)
	s.page.DrawPath("F")
	s.page.SetAlpha(1, "Normal")
}

func (s *pdfSheet) stroke(o outline, c color.NRGBA, p pen) {
	s.page.SetAlpha(p.opacity, "Normal")
	s.page.SetDrawColor(int(c.R), int(c.G), int(c.B))
	s.page.SetLineWidth(s.k * p.width)
	ends := "butt"
	if p.round {
		ends = "round"
	}
	s.page.SetLineCapStyle(ends)
	dash := make([]float64, len(p.dash))
	for i, length := range p.dash {
		dash[i] = s.k * length
	}
	s.page.SetDashPattern(dash, 0)
	s.path(o)
	s.page.DrawPath("D")
	s.page.SetAlpha(1, "Normal")
}

func (s *pdfSheet) text(at point, t string, c color.NRGBA) {
	s.page.SetTextColor(int(c.R), int(c.G), int(c.B))
	s.page.Text(s.k*at.x, s.k*at.y, t)
}

func (s *pdfSheet) clip(b box) {
	s.page.ClipRect(s.k*b.left, s.k*b.top, s.k*(b.right-b.left), s.k*(b.bottom-b.top), false)
}

func (s *pdfSheet) unclip() { s.page.ClipEnd() }

func (s *pdfSheet) writeTo(w io.Writer) error { return s.page.Output(w) }
