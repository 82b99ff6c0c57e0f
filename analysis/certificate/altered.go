package certificate

import (
	"bytes"
	"fmt"
	"html"
	"regexp"
	"strings"

	"proofpot/analysis/certificate/words"
)

var (
	pictures = regexp.MustCompile(`(?s)<svg.*?</svg>`)
	styles   = regexp.MustCompile(`(?s)<style>.*?</style>`)
	markup   = regexp.MustCompile(`(?s)<[^>]*>`)
)

const mostAltered = 8

var (
	languageOfPage  = regexp.MustCompile(`<html lang="([^"]*)">`)
	languageOfPaper = regexp.MustCompile(`/Lang \(([^)]*)\)`)
)

// LanguageOf is the language in which a certificate says that it is written,
// English where it says none that is known.
func LanguageOf(document []byte) words.Language {
	for _, says := range []*regexp.Regexp{languageOfPage, languageOfPaper} {
		if m := says.FindSubmatch(document); m != nil {
			if l, err := words.Language(m[1]).Check(); err == nil {
				return l
			}
		}
	}
	return words.English
}

// Altered says in words how a certificate (HTML) differs from the one that its
// record gives; empty where they are the same to the byte.
func Altered(found, given []byte) []string {
	if bytes.Equal(found, given) {
		return nil
	}
	a, b := sentences(found), sentences(given)
	var out []string
	more := 0
	for i, j := 0, 0; i < len(a) || j < len(b); {
		if i < len(a) && j < len(b) && a[i] == b[j] {
			i, j = i+1, j+1
			continue
		}
		di, dj := meet(a[i:], b[j:])
		if len(out) < mostAltered {
			switch {
			case di > 0 && dj > 0:
				out = append(out, fmt.Sprintf("it says %q where the record gives %q", clip(a[i:i+di]), clip(b[j:j+dj])))
			case di > 0:
				out = append(out, fmt.Sprintf("it says %q, of which the record knows nothing", clip(a[i:i+di])))
			default:
				out = append(out, fmt.Sprintf("it does not say %q", clip(b[j:j+dj])))
			}
		} else {
			more++
		}
		i, j = i+di, j+dj
	}
	if more > 0 {
		out = append(out, fmt.Sprintf("and %d more places", more))
	}
	if len(out) == 0 {
		n := 0
		for n < len(found) && n < len(given) && found[n] == given[n] {
			n++
		}
		out = append(out, fmt.Sprintf("its words are those of the record; a picture or its markup was altered at byte %d", n))
	}
	return out
}

// sentences are the texts of a page between its tags, in order.
func sentences(page []byte) []string {
	text := styles.ReplaceAllString(pictures.ReplaceAllString(string(page), "\n"), "\n")
	var out []string
	for line := range strings.SplitSeq(markup.ReplaceAllString(text, "\n"), "\n") {
		if line = strings.Join(strings.Fields(html.UnescapeString(line)), " "); line != "" {
			out = append(out, line)
		}
	}
	return out
}

// meet is how far to go on in each of two lists until they agree again; at least
// one in one of them.
func meet(a, b []string) (int, int) {
	const far = 60
	for d := 1; d <= far; d++ {
		for i := 0; i <= d; i++ {
			j := d - i
			if i < len(a) && j < len(b) && a[i] == b[j] {
				return i, j
			}
		}
	}
	return min(len(a), far), min(len(b), far)
}

func clip(list []string) string {
	text := strings.Join(list, " | ")
	if r := []rune(text); len(r) > 120 {
		return string(r[:120]) + "…"
	}
	return text
}
