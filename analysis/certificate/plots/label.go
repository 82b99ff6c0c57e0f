package plots

import (
	"proofpot/analysis/certificate/drawing"
	"proofpot/analysis/certificate/units"
)

// LabelText is what a label says.
type LabelText struct {
	Unit  string
	Word  string   // what a diver must see: the rated depth, or that he must not
	Lines []string // at most two
	Foot  string
	Code  string // to scan
}

// Label sizes: 62 mm × 29 mm, a width that usual label printers have.
const (
	labelWidth  = 62 / 25.4 * 72
	labelHeight = 29 / 25.4 * 72
)

// Label draws a label: text on the left, the code on the right, a frame to cut by.
func Label(l LabelText, u units.System) (*Picture, error) {
	code, err := Code(l.Code, labelHeight-12, u)
	if err != nil {
		return nil, err
	}
	f := newFigure(Size{labelWidth, labelHeight}, u)
	f.outline(0.5*pt, 0.5*pt, f.Width-0.5*pt, f.Height-0.5*pt)
	codeSide := code.Width
	room := f.Width - codeSide - 8*pt
	// fitted writes a line as large as its room allows, at most size.
	fitted := func(text string, size, y float64) {
		for f.textWidth(size, text) > room && size > 4*pt {
			size -= 0.25 * pt
		}
		f.write(style(size, black, drawing.Start, above), 5*pt, y, text)
	}
	fitted(l.Unit, 11*pt, f.Height-16*pt)
	fitted(l.Word, 19*pt, f.Height-40*pt)
	for i, line := range l.Lines {
		fitted(line, 7.5*pt, f.Height-50*pt-float64(i)*9*pt)
	}
	fitted(l.Foot, 5*pt, 5*pt)
	f.AddAt(code.Drawing, drawing.Point{X: f.Width - codeSide - 3*pt, Y: (f.Height - codeSide) / 2})
	return f.picture("label", u.F("Label of unit %s", l.Unit), l.Word)
}
