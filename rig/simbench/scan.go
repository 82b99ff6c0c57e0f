package simbench

import (
	"fmt"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// ParseError says where the text of a fault went wrong.
type ParseError struct {
	Text   string // all of it
	Column int    // from 1, in characters
	Found  string // empty at the end of the text
	Want   string
}

func (e *ParseError) Error() string {
	found := "nothing more"
	if e.Found != "" {
		found = strconv.Quote(e.Found)
	}
	return fmt.Sprintf("fault %q, column %d: found %s, want %s", e.Text, e.Column, found, e.Want)
}

// token is a word, a number or a single sign.
type token struct {
	text   string
	column int // from 1; one past the last character at the end
}

// scanner walks the tokens of a fault's text.
type scanner struct {
	text   string
	tokens []token
	at     int
}

func scan(text string) *scanner {
	s := &scanner{text: text}
	column, i := 1, 0
	for i < len(text) {
		r, n := utf8.DecodeRuneInString(text[i:])
		if unicode.IsSpace(r) {
			i, column = i+n, column+1
			continue
		}
		start, first := i, column
		class := classOf(r)
		for i < len(text) {
			r, n = utf8.DecodeRuneInString(text[i:])
			if c := classOf(r); c != class && !(class == wordClass && c == numberClass && r != '.') {
				break
			}
			i, column = i+n, column+1
			if class == signClass {
				break
			}
		}
		s.tokens = append(s.tokens, token{text[start:i], first})
	}
	s.tokens = append(s.tokens, token{"", column})
	return s
}

const (
	spaceClass = iota
	wordClass
	numberClass
	signClass
)

// classOf sorts characters: a word starts with a letter and may go on with
// digits ("p1") and "/", "_", "%" or "-" ("ml/h"); a number is digits and a point.
func classOf(r rune) int {
	switch {
	case unicode.IsSpace(r):
		return spaceClass
	case r >= '0' && r <= '9' || r == '.':
		return numberClass
	case unicode.IsLetter(r) || r == '/' || r == '_' || r == '%' || r == '-':
		return wordClass
	}
	return signClass
}

func (s *scanner) peek() token { return s.tokens[s.at] }

func (s *scanner) end() bool { return s.peek().text == "" }

func (s *scanner) wanted(want string) error {
	t := s.peek()
	return &ParseError{Text: s.text, Column: t.column, Found: t.text, Want: want}
}

// word takes the next token if it is w, in any case.
func (s *scanner) word(w string) bool {
	if s.end() || !strings.EqualFold(s.peek().text, w) {
		return false
	}
	s.at++
	return true
}

// number takes a number that is not negative.
func (s *scanner) number(want string) (float64, error) {
	t := s.peek()
	if t.text == "" || classOf(rune(t.text[0])) != numberClass {
		return 0, s.wanted(want)
	}
	x, err := strconv.ParseFloat(t.text, 64)
	if err != nil {
		return 0, s.wanted(want)
	}
	s.at++
	return x, nil
}

// unit is a word after a number and what one of it is in SI.
type unit struct {
	word string
	si   float64
}

// dimension is the units that an amount may come in.
type dimension struct {
	example string
	most    float64 // SI, beyond which it is taken for a slip
	units   []unit
}

var (
	flowUnits     = dimension{"3 ml/h", 1000 * litre * perHour, []unit{{"ml/h", mlPerH}, {"ul/h", mlPerH / 1000}, {"µl/h", mlPerH / 1000}, {"μl/h", mlPerH / 1000}, {"l/h", mlPerH * 1000}, {"ml/min", mlPerH * 60}}}
	volumeUnits   = dimension{"6 ml", 100 * litre, []unit{{"ml", millilitre}, {"l", litre}}}
	timeUnits     = dimension{"20 min", 1e6 * 60, []unit{{"s", 1}, {"min", 60}, {"h", 3600}, {"ms", 1e-3}}}
	pressureUnits = dimension{"2 bar", 1200 * bar, []unit{{"bar", bar}, {"mbar", 100}, {"kPa", 1000}, {"Pa", 1}}}
	driftUnits    = dimension{"20 Pa/h", 10 * bar, []unit{{"Pa/h", 1}, {"mbar/h", 100}, {"K/h", 1}}}
	rateUnits     = dimension{"30 per h", 1e5, []unit{{"per", 1}}}
	kelvinUnits   = dimension{"3 K", 60, []unit{{"K", 1}}}
	kelvinPerHour = dimension{"2 K/h", 60, []unit{{"K/h", 1}}}
	shareUnits    = dimension{"5 %", 1, []unit{{"%", 0.01}}}
	thermalUnits  = dimension{"40 Pa/K", bar, []unit{{"Pa/K", 1}}}
	timesUnits    = dimension{"10 times", 1000, []unit{{"times", 1}}}
	depthUnits    = dimension{"24 m", 11000, []unit{{"m", 1}}}
)

// amount takes a number and its unit and gives SI.
func (s *scanner) amount(d dimension, what string) (float64, error) {
	want, start := what+", "+d.example+" say", s.at
	x, err := s.number(want)
	if err != nil {
		return 0, err
	}
	for _, u := range d.units {
		if s.peek().text == u.word || len(u.word) > 1 && s.word(u.word) {
			if s.peek().text == u.word {
				s.at++
			}
			if u.word == "per" && !s.word("h") {
				return 0, s.wanted(`"h" after per`)
			}
			if x *= u.si; x > d.most {
				s.at = start
				return 0, s.wanted(fmt.Sprintf("%s up to %.4g %s", what, d.most/u.si, u.word))
			}
			return x, nil
		}
	}
	names := make([]string, 0, len(d.units))
	for _, u := range d.units {
		names = append(names, strconv.Quote(u.word))
	}
	return 0, s.wanted("the unit " + strings.Join(names, " or "))
}

// duration takes a time.
func (s *scanner) duration(what string) (time.Duration, error) {
	x, err := s.amount(timeUnits, what)
	if err != nil {
		return 0, err
	}
	return time.Duration(x * float64(time.Second)), nil
}
