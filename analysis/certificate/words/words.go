// Package words holds everything that a certificate says, in every language that
// it can be written in: one table, words.tsv, with a column for each. The English
// text is the key. Another language is another column.
package words

import (
	_ "embed" // the table
	"fmt"
	"strings"
	"sync"
)

// Language is a language by its BCP 47 tag.
type Language string

// English is the language of the keys, and of whoever chose none.
const English Language = "en"

//go:embed words.tsv
var file string

// table is the file read: its languages, and for each the texts by their keys.
type table struct {
	languages []Language
	said      []string // keys of what the analysis says, in the order of the file
	texts     map[Language]map[string]string
}

var whole = sync.OnceValue(func() *table {
	t, err := read(file)
	if err != nil {
		panic(err) // the table is part of the program
	}
	return t
})

// saidBelow is the line below which stands what the analysis says.
const saidBelow = "# What the analysis says"

// read takes a table apart. Lines that begin with # say something about those below.
func read(file string) (*table, error) {
	t := &table{texts: map[Language]map[string]string{}}
	n, said := 0, false
	for line := range strings.Lines(file) {
		n++
		line = strings.TrimSuffix(line, "\n")
		if line == "" || strings.HasPrefix(line, "#") {
			said = said || strings.HasPrefix(line, saidBelow)
			continue
		}
		cells := strings.Split(line, "\t")
		if t.languages == nil {
			for _, c := range cells {
				t.languages = append(t.languages, Language(c))
				t.texts[Language(c)] = map[string]string{}
			}
			if t.languages[0] != English {
				return nil, fmt.Errorf("words.tsv:%d: the first column is %q: want en", n, cells[0])
			}
			continue
		}
		if len(cells) != len(t.languages) {
			return nil, fmt.Errorf("words.tsv:%d: %d texts, want %d, one for each language", n, len(cells), len(t.languages))
		}
		if _, twice := t.texts[English][cells[0]]; twice {
			return nil, fmt.Errorf("words.tsv:%d: %q stands twice", n, cells[0])
		}
		if said {
			t.said = append(t.said, cells[0])
		}
		for i, c := range cells {
			t.texts[t.languages[i]][cells[0]] = c
		}
	}
	return t, nil
}

// Check makes English of none, and refuses a language that the table lacks.
func (l Language) Check() (Language, error) {
	if l == "" || l == English {
		return English, nil
	}
	if _, known := whole().texts[l]; known {
		return l, nil
	}
	var all []string
	for _, k := range whole().languages {
		all = append(all, string(k))
	}
	return l, fmt.Errorf("unknown language %q: want %s", string(l), strings.Join(all, " or "))
}

// T is a text in the language; the English itself where the table lacks it.
func (l Language) T(text string) string {
	if l == "" || l == English {
		return text
	}
	if t, known := whole().texts[l][text]; known {
		return t
	}
	return text
}

// F fills in a text, as fmt.Sprintf does. A translation may take the values in
// another order.
func (l Language) F(text string, values ...any) string { return fmt.Sprintf(l.T(text), values...) }

// Tag is the language's BCP 47 tag.
func (l Language) Tag() string {
	if l == "" {
		return string(English)
	}
	return string(l)
}

// Decimal writes a number, with a point before its decimals, in the language's way.
func (l Language) Decimal(number string) string {
	if mark := l.T("."); mark != "." {
		return strings.ReplaceAll(number, ".", mark)
	}
	return number
}
