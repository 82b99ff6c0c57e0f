package units

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// Clean makes text from a stranger's record fit to print: control characters
// become spaces, and characters that turn the direction of writing, hide, or
// are no characters at all become a visible mark, so that a name can neither
// break a picture nor read as something else. Longer text is cut at limit
// runes with an ellipsis; a limit of 0 does not cut.
func Clean(text string, limit int) string {
	var b strings.Builder
	n := 0
	for _, r := range text {
		if limit > 0 && n == limit {
			return b.String() + "…"
		}
		n++
		switch {
		case unicode.IsControl(r), r == '\u2028', r == '\u2029':
			b.WriteByte(' ')
		case r == utf8.RuneError, unicode.Is(unicode.Cf, r), unicode.Is(unicode.Co, r),
			r&0xFFFE == 0xFFFE, r >= 0xFDD0 && r <= 0xFDEF:
			b.WriteRune(utf8.RuneError)
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}
