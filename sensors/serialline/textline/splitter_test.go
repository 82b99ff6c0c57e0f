package textline

import (
	"slices"
	"strings"
	"testing"
)

// split feeds text in pieces of n bytes.
func split(text string, n int) (lines []string) {
	var s Splitter
	for piece := range slices.Chunk([]byte(text), n) {
		s.Feed(piece, func(line []byte, tooLong bool) {
			if tooLong {
				lines = append(lines, "too long")
				return
			}
			lines = append(lines, string(line))
		})
	}
	return lines
}

func TestTheTailOfALineWhoseStartWasNotSeenIsDropped(t *testing.T) {
	long := strings.Repeat("x", MaxLine)
	for _, c := range []struct {
		name, text string
		want       []string
	}{
		{"LF", "14 t=18\np=1\np=2\n", []string{"p=1", "p=2"}},
		{"CR LF", "14\r\np=1\r\np=2\r\n", []string{"p=1", "p=2"}},
		{"CR", "14\rp=1\rp=2\rp=3", []string{"p=1", "p=2"}},
		{"empty lines", "\n\n\r\np=1\n\n", []string{"p=1"}},
		{"nothing but a tail", "p=3.2", nil},
		{"just short enough", "\n" + long + "\np=1\n", []string{long, "p=1"}},
		{"too long", "\n" + long + "x" + long + "\np=1\n", []string{"too long", "p=1"}},
		{"too long a tail", long + long + "\np=1\n", []string{"p=1"}},
	} {
		for _, n := range []int{1, 2, 7, 4096} {
			if got := split(c.text, n); !slices.Equal(got, c.want) {
				t.Errorf("%s, %d bytes at a time: %q, want %q", c.name, n, got, c.want)
			}
		}
	}
}

func TestAPortOpenedAnewStartsWithATailAgain(t *testing.T) {
	var s Splitter
	var lines []string
	take := func(line []byte, _ bool) { lines = append(lines, string(line)) }
	s.Feed([]byte("\np=1\np=3."), take)
	s.Reset()
	s.Feed([]byte("14\np=2\n"), take)
	if !slices.Equal(lines, []string{"p=1", "p=2"}) {
		t.Errorf("%q", lines)
	}
}
