package drawing

import (
	"sync"

	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"golang.org/x/image/font"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// Heights of Liberation Sans as shares of its size, from its OS/2 and hhea tables.
const (
	CapHeight = 0.729
	Descent   = 0.212
)

// face is the font that texts are measured with and that a PNG is written in. Its
// widths are also those of Arial and Helvetica.
var face = sync.OnceValue(func() *sfnt.Font {
	f, err := sfnt.Parse(liberationsansregular.TTF)
	if err != nil {
		panic(err) // the font is part of the program
	}
	return f
})

// Covered tells whether the font has a letter.
func Covered(r rune) bool {
	if r >= 0 && r < usual {
		return usualLetters()[r].covered
	}
	return has(new(sfnt.Buffer), r)
}

func has(b *sfnt.Buffer, r rune) bool {
	i, err := face().GlyphIndex(b, r)
	return err == nil && i != 0
}

// covered tells whether the font has all letters of a text.
func covered(text string) bool {
	for _, r := range text {
		if r >= 0x7f && !Covered(r) {
			return false
		}
	}
	return true
}

// usual is where the letters end that are looked up once: those of Latin scripts.
const usual = 0x180

type letter struct {
	width   float64 // share of the size
	covered bool
}

var usualLetters = sync.OnceValue(func() *[usual]letter {
	var all [usual]letter
	var b sfnt.Buffer
	for r := range rune(usual) {
		all[r] = letter{advance(&b, r), has(&b, r)}
	}
	return &all
})

// advance is the width of a letter as a share of the size; of the font's sign for a
// missing one where it has no such letter.
func advance(b *sfnt.Buffer, r rune) float64 {
	f := face()
	perEm := fixed.Int26_6(f.UnitsPerEm())
	i, err := f.GlyphIndex(b, r)
	if err != nil {
		return 1
	}
	w, err := f.GlyphAdvance(b, i, perEm, font.HintingNone)
	if err != nil {
		return 1
	}
	return float64(w) / float64(perEm)
}

// Width is how wide a text is at a size, without kerning, as a PDF sets it.
func Width(size float64, text string) float64 {
	letters, sum := usualLetters(), 0.0
	var b *sfnt.Buffer
	for _, r := range text {
		if r < usual {
			sum += letters[r].width
			continue
		}
		if b == nil {
			b = new(sfnt.Buffer)
		}
		sum += advance(b, r)
	}
	return size * sum
}
