// Package paper lays out text, lists, tables and pictures on pages and writes
// them as PDF. It knows nothing of what it prints. The text stays text, in fonts
// that the file carries; the same calls give the same bytes.
package paper

import (
	"bytes"
	"fmt"
	"io"
	"regexp"
	"strings"
	"time"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"codeberg.org/go-pdf/fpdf"

	"proofpot/analysis/certificate/drawing"
)

// Size is that of a sheet.
type Size struct{ Width, Height float64 }

// The sheets that usual printers hold: 210 mm × 297 mm, and 8.5 in × 11 in.
var (
	A4     = Size{595.28, 841.89}
	Letter = Size{612, 792}
)

// Lengths are in points, 1/72 inch; y counts from the top of the page.
const (
	margin   = 34.0
	footRoom = 22.0
	family   = "text"
)

// Properties stand in the file beside its text.
type Properties struct {
	Title, Subject, Author, Keywords, Creator string
	Language                                  string // BCP 47
	Written                                   time.Time
	Sheet                                     Size   // none: A4
	Foot                                      string // at the foot of every page
	PageOf                                    string // counts them, as "page %d of %s", which is also meant by none
}

// Paper is a document in the making.
type Paper struct {
	doc      *fpdf.Fpdf
	sheet    Size
	left     float64
	width    float64
	y        float64
	dry      bool // measuring: nothing is drawn
	together int  // within something that must not be parted
	size     float64
	style    string
	foot     string
}

// begin opens a document of one page size, with its fonts and properties.
func begin(p Properties, width, height float64) *fpdf.Fpdf {
	doc := fpdf.NewCustom(&fpdf.InitType{UnitStr: "pt", Size: fpdf.SizeType{Wd: width, Ht: height}})
	doc.SetAutoPageBreak(false, 0)
	doc.SetCellMargin(0)
	doc.AddUTF8FontFromBytes(family, "", liberationsansregular.TTF)
	doc.AddUTF8FontFromBytes(family, "B", liberationsansbold.TTF)
	doc.SetTitle(printable(p.Title), true)
	doc.SetSubject(printable(p.Subject), true)
	doc.SetAuthor(printable(p.Author), true)
	doc.SetKeywords(printable(p.Keywords), true)
	doc.SetCreator(printable(p.Creator), true)
	doc.SetLang(p.Language)
	doc.SetCreationDate(p.Written.UTC())
	doc.SetModificationDate(p.Written.UTC())
	doc.SetCatalogSort(true)
	return doc
}

// Alone writes one drawing as a document of its size.
func Alone(w io.Writer, p Properties, d *drawing.Drawing) error {
	doc := begin(p, d.Width, d.Height)
	doc.AddPage()
	draw(doc, d, 0, d.Height, 1)
	out := Paper{doc: doc}
	_, err := out.WriteTo(w)
	return err
}

// New begins a document.
func New(p Properties) *Paper {
	if p.PageOf == "" {
		p.PageOf = "page %d of %s"
	}
	if p.Sheet == (Size{}) {
		p.Sheet = A4
	}
	doc := begin(p, p.Sheet.Width, p.Sheet.Height)
	doc.SetMargins(margin, margin, margin)
	out := &Paper{doc: doc, sheet: p.Sheet, left: margin, width: p.Sheet.Width - 2*margin, foot: p.Foot}
	doc.AliasNbPages("{pages}")
	doc.SetFooterFunc(func() {
		doc.SetFont(family, "", 7)
		doc.SetTextColor(0x55, 0x5c, 0x63)
		doc.Text(margin, p.Sheet.Height-footRoom, printable(out.foot))
		width := doc.GetStringWidth(fmt.Sprintf(p.PageOf, doc.PageNo(), "9"))
		doc.Text(p.Sheet.Width-margin-width, p.Sheet.Height-footRoom, fmt.Sprintf(p.PageOf, doc.PageNo(), "{pages}"))
	})
	doc.AddPage()
	out.y = margin
	out.Font("", 8)
	return out
}

// WriteTo ends the document and writes it.
func (p *Paper) WriteTo(w io.Writer) (int64, error) {
	var all bytes.Buffer
	if err := p.doc.Output(&all); err != nil {
		return 0, err
	}
	n, err := w.Write(all.Bytes())
	return int64(n), err
}

// Pages is how many pages there are by now.
func (p *Paper) Pages() int { return p.doc.PageCount() }

// Font sets the style, "" or "B", and size of the text that follows.
func (p *Paper) Font(style string, size float64) {
	p.style, p.size = style, size
	p.doc.SetFont(family, style, size)
}

func (p *Paper) withFont(style string, size float64, do func()) {
	oldStyle, oldSize := p.style, p.size
	p.Font(style, size)
	do()
	p.Font(oldStyle, oldSize)
}

// Tone is a shade of the text and lines.
type Tone [3]int

// Tones. All are dark enough on white to be read by anyone.
var (
	Ink  = Tone{0x16, 0x1a, 0x1d}
	Soft = Tone{0x4a, 0x51, 0x58}
	Line = Tone{0xb9, 0xc0, 0xc7}
)

func (p *Paper) lead() float64 { return p.size * 1.22 }

// Room is what is left of the page.
func (p *Paper) Room() float64 { return p.sheet.Height - footRoom - 10 - p.y }

// page starts another one where height does not fit on this one.
func (p *Paper) page(height float64) {
	if p.dry || p.together > 0 || height <= p.Room() {
		return
	}
	p.doc.AddPage()
	p.y = margin
	p.doc.SetFont(family, p.style, p.size)
}

// Space leaves a gap.
func (p *Paper) Space(h float64) { p.y += h }

// measure gives the height of what do prints.
func (p *Paper) measure(do func()) float64 {
	y, dry := p.y, p.dry
	p.y, p.dry = 0, true
	do()
	h := p.y
	p.y, p.dry = y, dry
	return h
}

// Keep prints something on one page, if a page can hold it.
func (p *Paper) Keep(do func()) {
	h := p.measure(do)
	if h > p.sheet.Height-2*margin-footRoom {
		do()
		return
	}
	p.page(h)
	p.together++
	do()
	p.together--
}

// Columns prints two things side by side, on one page.
func (p *Paper) Columns(share float64, left, right func()) {
	const gap = 16
	l0, w0 := p.left, p.width
	both := func() {
		top := p.y
		p.width = (w0 - gap) * share
		left()
		bottom := p.y
		p.left, p.width, p.y = l0+p.width+gap, (w0-gap)*(1-share), top
		right()
		p.y = max(bottom, p.y)
		p.left, p.width = l0, w0
	}
	p.Keep(both)
}

// Inset prints something between a frame's sides.
func (p *Paper) Inset(by float64, do func()) {
	p.left, p.width = p.left+by, p.width-2*by
	do()
	p.left, p.width = p.left-by, p.width+2*by
}

// Framed prints something in a frame of a stroke's width.
func (p *Paper) Framed(stroke float64, dashed bool, do func()) {
	p.Keep(func() {
		top := p.y
		p.y += 7
		p.Inset(9, do)
		p.y += 6
		if p.dry {
			return
		}
		p.doc.SetDrawColor(Ink[0], Ink[1], Ink[2])
		p.doc.SetLineWidth(stroke)
		if dashed {
			p.doc.SetDashPattern([]float64{5, 3}, 0)
		}
		p.doc.Rect(p.left, top, p.width, p.y-top, "D")
		p.doc.SetDashPattern(nil, 0)
	})
}

// Rule draws a line across.
func (p *Paper) Rule(width float64, t Tone) {
	if !p.dry {
		p.doc.SetDrawColor(t[0], t[1], t[2])
		p.doc.SetLineWidth(width)
		p.doc.Line(p.left, p.y, p.left+p.width, p.y)
	}
	p.y += width
}

// wrap breaks text to a width; a word too long for it is cut.
func (p *Paper) wrap(text string, width float64) []string {
	p.doc.SetFont(family, p.style, p.size)
	var lines []string
	for part := range strings.SplitSeq(printable(text), "\n") {
		line := ""
		for _, word := range glued(strings.Fields(part)) {
			if line != "" && p.doc.GetStringWidth(line+" "+word) <= width {
				line += " " + word
				continue
			}
			if line != "" {
				lines = append(lines, line)
			}
			for p.doc.GetStringWidth(word) > width {
				runes := []rune(word)
				n := len(runes)
				for n > 1 && p.doc.GetStringWidth(string(runes[:n])) > width {
					n--
				}
				if n == len(runes) {
					break
				}
				lines = append(lines, string(runes[:n]))
				word = string(runes[n:])
			}
			line = word
		}
		lines = append(lines, line)
	}
	return lines
}

// unit finds a sign that belongs to the number before it.
var unit = regexp.MustCompile(`^(°C|K|bar|mbar|m|ft|psi|kPa|Pa|ml|l|ml/h|mg/h|g/kg|g/m³|kg/m³|m/s²|s|min|h|%)[.,;:)]*$`)

// glued joins a number with the sign that follows it, which no line parts.
func glued(words []string) []string {
	var out []string
	for _, w := range words {
		n := len(out) - 1
		if n >= 0 && unit.MatchString(w) && out[n][len(out[n])-1] >= '0' && out[n][len(out[n])-1] <= '9' {
			out[n] += " " + w
			continue
		}
		out = append(out, w)
	}
	return out
}

func (p *Paper) put(x, y float64, text string, t Tone) {
	if p.dry || text == "" {
		return
	}
	p.doc.SetFont(family, p.style, p.size)
	p.doc.SetTextColor(t[0], t[1], t[2])
	p.doc.Text(x, y+p.size*0.93, text)
}

// Text prints a paragraph.
func (p *Paper) Text(text string, t Tone) {
	for _, line := range p.wrap(text, p.width) {
		p.page(p.lead())
		p.put(p.left, p.y, line, t)
		p.y += p.lead()
	}
}

// Right prints one line at the right edge, at the present height, without moving on.
func (p *Paper) Right(text string, t Tone) {
	text = printable(text)
	p.doc.SetFont(family, p.style, p.size)
	p.put(p.left+p.width-p.doc.GetStringWidth(text), p.y, text, t)
}

// Heading begins a section: its name goes into the outline of the document.
func (p *Paper) Heading(text string) {
	p.page(60)
	p.y += 5
	p.withFont("B", p.size+1, func() {
		if !p.dry {
			p.doc.Bookmark(printable(text), 0, p.y)
		}
		p.put(p.left, p.y, printable(text), Ink)
		p.y += p.lead()
	})
	p.Rule(0.5, Line)
	p.y += 2
}

// List prints one item a line, each with a dash.
func (p *Paper) List(items []string) {
	for _, item := range items {
		for i, line := range p.wrap(item, p.width-8) {
			p.page(p.lead())
			if i == 0 {
				p.put(p.left, p.y, "–", Soft)
			}
			p.put(p.left+8, p.y, line, Ink)
			p.y += p.lead()
		}
	}
}

// Fact prints a name and its value beside it; nameWidth is the share of the name.
func (p *Paper) Fact(name, value string, nameWidth float64) {
	w := p.width * nameWidth
	names, values := p.wrap(name, w-6), p.wrap(value, p.width-w)
	n := max(len(names), len(values))
	p.page(float64(min(n, 3)) * p.lead())
	for i := range n {
		p.page(p.lead())
		if i < len(names) {
			p.put(p.left, p.y, names[i], Soft)
		}
		if i < len(values) {
			p.put(p.left+w, p.y, values[i], Ink)
		}
		p.y += p.lead()
	}
}

// printable puts a question mark for what the font cannot show, so that nothing
// vanishes without a trace.
func printable(text string) string {
	return strings.Map(func(r rune) rune {
		if r == '\n' || r < 0x10000 && drawing.Covered(r) {
			return r
		}
		return '?'
	}, text)
}
