package paper

// Column is one column of a table.
type Column struct {
	Title string
	Share float64 // of the width
}

// Row is one row: a text for each column, or, where Note is set, one text across
// all of them that belongs to the row above.
type Row struct {
	Cells []string
	Bold  []bool // of cells; may be shorter
	Note  string
}

const cellGap = 5.0

// Table prints rows below their titles, and the titles again on a new page.
func (p *Paper) Table(columns []Column, rows []Row) {
	total := 0.0
	for _, c := range columns {
		total += c.Share
	}
	widths := make([]float64, len(columns))
	for i, c := range columns {
		widths[i] = p.width * c.Share / total
	}
	titles := make([]string, len(columns))
	bold := make([]bool, len(columns))
	for i, c := range columns {
		titles[i], bold[i] = c.Title, true
	}
	head := func() {
		p.row(widths, titles, bold)
		p.Rule(0.8, Ink)
		p.y += 1.5
	}
	if len(rows) > 0 {
		p.page(p.measure(head) + p.rowHeight(widths, rows[0]))
	}
	head()
	for i, r := range rows {
		h := p.rowHeight(widths, r)
		if i+1 < len(rows) && rows[i+1].Note != "" {
			h += p.rowHeight(widths, rows[i+1])
		}
		if !p.dry && p.together == 0 && h > p.Room() && r.Note == "" {
			p.page(h)
			head()
		}
		if r.Note != "" {
			p.Inset(8, func() { p.Text(r.Note, Soft) })
		} else {
			p.row(widths, r.Cells, r.Bold)
		}
		if i+1 >= len(rows) || rows[i+1].Note == "" {
			p.y += 0.7
			p.Rule(0.3, Line)
			p.y++
		}
	}
}

func (p *Paper) rowHeight(widths []float64, r Row) float64 {
	return p.measure(func() {
		if r.Note != "" {
			p.Inset(8, func() { p.Text(r.Note, Soft) })
			return
		}
		p.row(widths, r.Cells, r.Bold)
	})
}

func (p *Paper) row(widths []float64, cells []string, bold []bool) {
	top, bottom, x := p.y, p.y, p.left
	for i, cell := range cells {
		style := ""
		if i < len(bold) && bold[i] {
			style = "B"
		}
		p.withFont(style, p.size, func() {
			y := top
			for _, line := range p.wrap(cell, widths[i]-cellGap) {
				p.put(x, y, line, Ink)
				y += p.lead()
			}
			bottom = max(bottom, y)
		})
		x += widths[i]
	}
	p.y = bottom
}
