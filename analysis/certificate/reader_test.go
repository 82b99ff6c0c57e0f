package certificate

import (
	"bytes"
	"encoding/xml"
	"errors"
	"html"
	"io"
	"regexp"
	"strings"
	"testing"

	"proofpot/analysis"
	"proofpot/rig/setup"
)

func written(t testing.TB, run setup.Run, r *analysis.Result, opts Options) string {
	t.Helper()
	var out bytes.Buffer
	if err := Write(&out, run, r, opts); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

var (
	tagPattern   = regexp.MustCompile(`<[^>]*>`)
	spacePattern = regexp.MustCompile(`\s+`)
	svgPattern   = regexp.MustCompile(`(?s)<svg.*?</svg>`)
	stylePattern = regexp.MustCompile(`(?s)<style>(.*?)</style>`)
)

// plain is what a reader sees of a document outside its pictures.
func plain(document string) string {
	text := stylePattern.ReplaceAllString(svgPattern.ReplaceAllString(document, ""), "")
	text = html.UnescapeString(tagPattern.ReplaceAllString(text, " "))
	return strings.TrimSpace(spacePattern.ReplaceAllString(text, " "))
}

// section is the plain text from one heading to the next.
func section(t testing.TB, document, heading string) string {
	t.Helper()
	_, after, found := strings.Cut(document, ">"+heading+"</h2>")
	if !found {
		t.Fatalf("no section %q", heading)
	}
	before, _, _ := strings.Cut(after, "<h2")
	return plain(before)
}

// rows are the plain cells of every row of the tables below a heading.
func rows(t testing.TB, document, heading string) [][]string {
	t.Helper()
	_, after, found := strings.Cut(document, ">"+heading+"</h2>")
	if !found {
		t.Fatalf("no section %q", heading)
	}
	table, _, _ := strings.Cut(after, "</table>")
	var out [][]string
	for _, row := range regexp.MustCompile(`(?s)<tr.*?</tr>`).FindAllString(table, -1) {
		var cells []string
		for _, cell := range regexp.MustCompile(`(?s)<t[hd][ >].*?</t[hd]>`).FindAllString(row, -1) {
			cells = append(cells, plain(cell))
		}
		out = append(out, cells)
	}
	return out
}

// wellFormed reads a picture as strict XML and gives the ids in it.
func wellFormed(t testing.TB, svg string) (ids []string) {
	t.Helper()
	decoder := xml.NewDecoder(strings.NewReader(svg))
	for {
		token, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			return ids
		}
		if err != nil {
			t.Fatalf("picture is not XML: %v\n%.300s", err, svg)
		}
		if start, ok := token.(xml.StartElement); ok {
			for _, a := range start.Attr {
				if a.Name.Local == "id" {
					ids = append(ids, a.Value)
				}
			}
		}
	}
}

// tags is the sequence of elements of a document, with their attributes' names.
func tags(document string) []string {
	names, values := regexp.MustCompile(`[a-zA-Z-]+=`), regexp.MustCompile(`"[^"]*"`)
	var out []string
	for _, tag := range tagPattern.FindAllString(stylePattern.ReplaceAllString(document, ""), -1) {
		name, _, _ := strings.Cut(strings.Trim(tag, "<>"), " ")
		out = append(out, name+" "+strings.Join(names.FindAllString(values.ReplaceAllString(tag, ""), -1), " "))
	}
	return out
}
