package plots

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strings"
)

// fontFamily starts with families of one and the same set of widths, which is
// also the set that the layout is measured with, and ends with the generic one.
const fontFamily = "Liberation Sans, Arial, Helvetica, sans-serif"

// finish turns the canvas's SVG into one that can stand in a page beside others
// and under a strict content security policy: no XML declaration, no style
// attributes, every id under the picture's own name, with a title and a
// description for those who cannot see it.
func finish(drawn io.WriterTo, id, title, description string) ([]byte, error) {
	var raw, out bytes.Buffer
	if _, err := drawn.WriteTo(&raw); err != nil {
		return nil, err
	}
	decoder := xml.NewDecoder(&raw)
	depth := 0
	for {
		token, err := decoder.RawToken()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("picture %s: %w", id, err)
		}
		switch token := token.(type) {
		case xml.StartElement:
			depth++
			out.WriteByte('<')
			out.WriteString(token.Name.Local)
			for _, a := range presentation(token.Attr) {
				writeAttribute(&out, a.Name.Local, a.Value)
			}
			if depth > 1 {
				out.WriteByte('>')
				continue
			}
			writeAttribute(&out, "xmlns", "http://www.w3.org/2000/svg")
			writeAttribute(&out, "role", "img")
			writeAttribute(&out, "font-family", fontFamily)
			writeAttribute(&out, "aria-labelledby", id+"-title "+id+"-desc")
			fmt.Fprintf(&out, ">\n<title id=\"%s-title\">", id)
			if err := xml.EscapeText(&out, []byte(title)); err != nil {
				return nil, err
			}
			fmt.Fprintf(&out, "</title>\n<desc id=\"%s-desc\">", id)
			if err := xml.EscapeText(&out, []byte(description)); err != nil {
				return nil, err
			}
			out.WriteString("</desc>")
		case xml.EndElement:
			depth--
			out.WriteString("</" + token.Name.Local + ">")
		case xml.CharData:
			if strings.TrimSpace(string(token)) == "" {
				out.WriteByte('\n')
				continue
			}
			if err := xml.EscapeText(&out, token); err != nil {
				return nil, err
			}
		}
	}
	return out.Bytes(), nil
}

// presentation drops namespace declarations and spreads a style attribute into
// presentation attributes.
func presentation(attributes []xml.Attr) []xml.Attr {
	var kept []xml.Attr
	for _, a := range attributes {
		switch {
		case a.Name.Space == "xmlns", a.Name.Local == "xmlns":
		case a.Name.Local == "style":
			for declaration := range strings.SplitSeq(a.Value, ";") {
				name, value, _ := strings.Cut(declaration, ":")
				if name == "font-family" || name == "font-variant" || value == "normal" || name == "" {
					continue
				}
				kept = append(kept, xml.Attr{Name: xml.Name{Local: name}, Value: value})
			}
		default:
			kept = append(kept, a)
		}
	}
	return kept
}

func writeAttribute(out *bytes.Buffer, name, value string) {
	out.WriteByte(' ')
	out.WriteString(name)
	out.WriteString(`="`)
	_ = xml.EscapeText(out, []byte(value)) // a bytes.Buffer does not fail
	out.WriteByte('"')
}
