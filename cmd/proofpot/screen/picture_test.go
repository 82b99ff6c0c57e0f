package screen

import (
	"encoding/xml"
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"

	"proofpot/cmd/proofpot/page"
)

var update = flag.Bool("update", false, "write the README's picture of the terminal anew")

const pictureFile = "../docs/pictures/terminal.svg"

// TestThePictureOfTheTerminalIsWhatTheTerminalShows draws a frame as the README
// has it. Each line is stretched to its cells, so that any font will do.
func TestThePictureOfTheTerminalIsWhatTheTerminalShows(t *testing.T) {
	s := holding()
	s.Events = []page.Event{{Seconds: 2651, Kind: "stage", Text: "ramp rated"}, {Seconds: 3120, Kind: "note", Text: "no bubbles at the lid"}, {Seconds: 3571, Kind: "stage", Text: "hold proof"}}
	const width, height, cellW, cellH, edge = 80, 24, 9, 19, 14
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" font-family="ui-monospace, 'DejaVu Sans Mono', Menlo, Consolas, monospace" font-size="15">
<title>The terminal during a hold: depth and pressure in large figures, what is next, the leak against its limit, and the key that stops and vents</title>
<rect width="100%%" height="100%%" rx="8" fill="#14181c"/>
<g fill="#e8e8e0" xml:space="preserve">
`, width*cellW+2*edge, height*cellH+2*edge)
	for i, line := range strings.Split(Frame(s, width, height), "\n") {
		line = strings.TrimRight(line, " ")
		if line == "" {
			continue
		}
		fmt.Fprintf(&b, `<text x="%d" y="%d" textLength="%d" lengthAdjust="spacingAndGlyphs">`, edge, edge+(i+1)*cellH-5, len([]rune(line))*cellW)
		if err := xml.EscapeText(&b, []byte(strings.ReplaceAll(line, " ", "\u00a0"))); err != nil {
			t.Fatal(err)
		}
		b.WriteString("</text>\n")
	}
	b.WriteString("</g>\n</svg>\n")
	if *update {
		if err := os.WriteFile(pictureFile, []byte(b.String()), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	was, err := os.ReadFile(pictureFile)
	if err != nil || string(was) != b.String() {
		t.Errorf("%s is not what the terminal shows (%v): go test ./cmd/proofpot/screen -update, and look at it", pictureFile, err)
	}
}
