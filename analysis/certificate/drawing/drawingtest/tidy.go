// Package drawingtest says what is wrong with how a drawing lies on its sheet.
package drawingtest

import (
	"fmt"

	"proofpot/analysis/certificate/drawing"
)

// Untidy names each text that runs off its drawing or into another.
func Untidy(d *drawing.Drawing) []string {
	const slack = 0.3 // points
	var bad []string
	texts, sheet := d.Texts(), drawing.Box{Right: d.Width, Top: d.Height}
	for i, a := range texts {
		if !a.Box().Within(sheet, slack) {
			bad = append(bad, fmt.Sprintf("%q runs off the drawing: %.1f", a.Words, a.Box()))
		}
		for _, b := range texts[:i] {
			if a.Box().Overlaps(b.Box(), slack) {
				bad = append(bad, fmt.Sprintf("%q runs into %q", a.Words, b.Words))
			}
		}
	}
	return bad
}
