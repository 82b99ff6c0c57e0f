package textline

import (
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// splitKeyValue takes apart "p_bar=3.214 t_c=18.42". Every piece must be a key,
// an equals sign and a value: a piece that is not shows that the line is
// damaged, and so does a key that comes twice.
func (p *Parser) splitKeyValue(body string) (lookup, string) {
	p.places = p.places[:0]
	separates := func(r rune) bool {
		return r == ' ' || r == '\t' || r == ';' || r == ',' && !p.config.DecimalComma
	}
	for piece := range strings.FieldsFuncSeq(body, separates) {
		key, text, ok := strings.Cut(piece, "=")
		if !ok || key == "" {
			return nil, fmt.Sprintf("%s is no key=value", Shorten([]byte(piece)))
		}
		if _, twice := p.find(key); twice {
			return nil, fmt.Sprintf("%s comes twice", Shorten([]byte(key)))
		}
		if len(p.places) == maxColumns {
			return nil, fmt.Sprintf("more than %d values", maxColumns)
		}
		p.places = append(p.places, place{key, text})
	}
	return p.find, ""
}

func (p *Parser) find(key string) (string, bool) {
	for i := range p.places {
		if p.places[i].key == key {
			return p.places[i].text, true
		}
	}
	return "", false
}

// splitCSV takes apart "3.214;18.42". A line has as many columns as the line
// before, or it is damaged; where the device really prints another number of
// them from now on, the line after says so. A first line without numbers is a
// header, and the same line later means that the device started anew.
func (p *Parser) splitCSV(body string) (lookup, string) {
	if p.header != "" && body == p.header {
		return nil, startLine
	}
	p.places = p.places[:0]
	for _, column := range p.cut(body) {
		if len(p.places) == maxColumns {
			return nil, fmt.Sprintf("more than %d columns", maxColumns)
		}
		column = strings.TrimSpace(column)
		if len(column) >= 2 && column[0] == '"' && column[len(column)-1] == '"' {
			column = column[1 : len(column)-1]
		}
		p.places = append(p.places, place{text: column})
	}
	if !p.valued && p.header == "" && p.isHeader() {
		p.header = body
		return nil, headerLine
	}
	before := p.columns
	p.columns = len(p.places)
	if before != 0 && before != p.columns {
		return nil, fmt.Sprintf("%d columns, the line before had %d", p.columns, before)
	}
	for i := range p.config.Fields {
		if _, found := p.column(p.config.Fields[i].From); !found {
			return nil, fmt.Sprintf("no column %s", p.config.Fields[i].From)
		}
	}
	return p.column, ""
}

// cut splits a csv line at the separator asked for, else at the first of these
// that it holds: semicolon, tab, comma (unless that is the decimal mark), spaces.
func (p *Parser) cut(body string) []string {
	separator := p.config.Separator
	if separator == "" {
		separator = " "
		for _, s := range []string{";", "\t", ","} {
			if strings.Contains(body, s) && !(s == "," && p.config.DecimalComma) {
				separator = s
				break
			}
		}
	}
	if separator == " " {
		return strings.Fields(body)
	}
	return strings.Split(body, separator)
}

// isHeader says whether every column that a field asks for holds a name.
func (p *Parser) isHeader() bool {
	for i := range p.config.Fields {
		text, found := p.column(p.config.Fields[i].From)
		n := parseNumber(word(p.config.Fields[i].Quantity, text), p.config.DecimalComma)
		if !found || n.none || n.wrong == "" || strings.ContainsAny(text[:1], "0123456789+-.,") {
			return false
		}
	}
	return true
}

func (p *Parser) column(from string) (string, bool) {
	n, err := strconv.Atoi(from)
	if err != nil || n < 1 || n > len(p.places) {
		return "", false
	}
	return p.places[n-1].text, true
}

// splitJSON takes apart one JSON object a line (RFC 8259). A path's parts are
// names, or numbers from 0 for the elements of an array.
func splitJSON(body string) (lookup, string) {
	d := json.NewDecoder(strings.NewReader(body))
	d.UseNumber()
	var root map[string]any
	if err := d.Decode(&root); err != nil || root == nil {
		return nil, "no JSON object"
	}
	if _, err := d.Token(); err != io.EOF {
		return nil, "more than one JSON object"
	}
	return func(path string) (string, bool) {
		var at any = root
		for part := range strings.SplitSeq(path, ".") {
			next, ok := step(at, part)
			if !ok {
				return "", false
			}
			at = next
		}
		switch v := at.(type) {
		case nil:
			return "null", true
		case json.Number:
			return v.String(), true
		case string:
			return v, true
		case bool:
			return strconv.FormatBool(v), true
		}
		return "an object or array", true
	}, ""
}

func step(at any, part string) (any, bool) {
	switch v := at.(type) {
	case map[string]any:
		next, ok := v[part]
		return next, ok
	case []any:
		i, err := strconv.Atoi(part)
		if err != nil || i < 0 || i >= len(v) {
			return nil, false
		}
		return v[i], true
	}
	return nil, false
}
