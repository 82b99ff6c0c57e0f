package plots

import (
	"fmt"

	"proofpot/analysis/certificate/units"

	"rsc.io/qr"
)

// quietModules is the empty border of a code (ISO/IEC 18004, 4 modules).
const quietModules = 4

// Code draws text as a QR code (ISO/IEC 18004) of side × side points, which
// still reads with a seventh of it lost (level M).
func Code(text string, side float64, u units.System) (*Picture, error) {
	code, err := qr.Encode(text, qr.M)
	if err != nil {
		return nil, fmt.Errorf("code for %q: %w", text, err)
	}
	f := newFigure(Size{side, side}, u)
	module := side * pt / float64(code.Size+2*quietModules)
	for row := range code.Size {
		for from := 0; from < code.Size; from++ {
			if !code.Black(from, row) {
				continue
			}
			to := from
			for to < code.Size && code.Black(to, row) {
				to++
			}
			top := f.Height - float64(row+quietModules)*module
			f.box(black, float64(from+quietModules)*module, top-module, float64(to+quietModules)*module, top)
			from = to
		}
	}
	return f.picture("code", "Code to scan", text)
}
