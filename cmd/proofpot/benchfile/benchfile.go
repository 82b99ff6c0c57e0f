// Package benchfile writes a bench.toml, every line explained, from the answers
// to a few questions. It is pure: answers in, text out.
package benchfile

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"proofpot/rig/setup"
)

// Question is one thing that a bench file must know.
type Question struct {
	Key     string   // of its answer
	Text    string   // as a person is asked
	Default string   // taken where nothing is typed; empty: an answer must be given
	One     []string // the words that it may be; nil: anything that Check takes
	Unit    string   // of a number; empty: a word
	Low     float64  // least and most of a number
	High    float64
	Whole   bool // a number without a fraction
	Maybe   bool // "-" says that there is none, or that it is not known
	Bytes   bool // sent to a device: \r, \n, \t and \\ are written as here
	Asked   func(Answers) bool
}

// Answers are the answers by key.
type Answers map[string]string

// Applies tells whether a question is asked, after those before it.
func (q Question) Applies(a Answers) bool { return q.Asked == nil || q.Asked(a) }

// Check takes an answer as typed and gives it as it is kept. An answer that
// cannot be is an error that says what would be right.
func (q Question) Check(typed string, a Answers) (string, error) {
	text := strings.TrimSpace(typed)
	if text == "" {
		text = q.Default
	}
	switch {
	case text == "":
		return "", fmt.Errorf("this must be known")
	case text == "-" && q.Key == "room_hpa" && a["reference"] == "gauge":
		return "", fmt.Errorf("a gauge transducer needs the room's pressure to become absolute: read a barometer, or the nearest weather station's with your altitude taken off (12 hPa in 100 m)")
	case text == "-" && q.Key == "chip" && a["valves_on"] == "gpio":
		return "", fmt.Errorf("valves on GPIO lines have a chip: gpiochip0, say")
	case text == "-" && q.Maybe:
		return text, nil
	case q.Bytes:
		if bad := badEscape(text); bad != "" {
			return "", fmt.Errorf("%s: %s is not known here; \\r, \\n, \\t and \\\\ are, and no quotes", text, bad)
		}
		if q.Key == "relay_pulse" && !strings.Contains(text, setup.PulseMS) {
			return "", fmt.Errorf("%s: %s must stand in it where the milliseconds do; - where the board has no such command", text, setup.PulseMS)
		}
	case strings.ContainsAny(text, "\"\\\n\x00") || strings.ContainsFunc(text, func(r rune) bool { return r < ' ' }):
		return "", fmt.Errorf("%q: no quotes and no backslashes", text)
	case q.One != nil:
		if !slices.Contains(q.One, text) {
			return "", fmt.Errorf("%q: type one of %s", text, strings.Join(q.One, ", "))
		}
		if of, is := strings.CutSuffix(q.Key, "_mux"); is && a[of+"_address"] == text {
			return "", fmt.Errorf("%s is the part's own address; set the multiplexer to another", text)
		}
		if part := a.partOf(q.Key); strings.HasSuffix(q.Key, "_address") && part != "" && !slices.Contains(partAddresses[part], text) {
			return "", fmt.Errorf("%s is no address of a %s; type one of %s", text, part, strings.Join(partAddresses[part], ", "))
		}
	case q.Unit != "":
		x, err := strconv.ParseFloat(text, 64)
		if err != nil {
			return "", fmt.Errorf("%q is no number; decimals are written with a point, without the unit", text)
		}
		if !(x >= q.Low && x <= q.High) {
			return "", fmt.Errorf("%s: want %g to %g %s", text, q.Low, q.High, q.Unit)
		}
		if q.Whole && x != math.Trunc(x) {
			return "", fmt.Errorf("%s: want a whole number", text)
		}
		if err := together(q.Key, x, a); err != nil {
			return "", err
		}
		text = strconv.FormatFloat(x, 'f', -1, 64)
	}
	return text, nil
}

// badEscape finds what is no escape of a command, or a quote.
func badEscape(text string) string {
	for i := 0; i < len(text); i++ {
		switch c := text[i]; {
		case c == '"' || c < ' ' || c > '~':
			return strconv.QuoteToASCII(string(c))
		case c != '\\':
		case i+1 == len(text) || !strings.ContainsRune(`rnt\`, rune(text[i+1])):
			return text[i:min(i+2, len(text))]
		default:
			i++
		}
	}
	return ""
}

// mostOffPa is the worst accuracy that a bench file may state.
const mostOffPa = 1e6

// together checks a number against those answered before it.
func together(key string, x float64, a Answers) error {
	switch key {
	case "gas_cushion_ml":
		if x >= a.number("chamber_volume_ml") {
			return fmt.Errorf("%g ml of gas do not go into a chamber of %s ml", x, a["chamber_volume_ml"])
		}
	case "regulator_high_v":
		if x > a.number("regulator_full_v") {
			return fmt.Errorf("%g V is more than the converter gives at full code, %s V", x, a["regulator_full_v"])
		}
	case "accuracy_pct":
		if off := x / 100 * a.rangePa(); off > mostOffPa {
			return fmt.Errorf("%g %% of %.3g bar is %.3g bar: too coarse to measure with; are the range and its unit right?", x, a.rangePa()/1e5, off/1e5)
		}
	case "relief_bar_gauge":
		if x > a.number("rated_bar_gauge") {
			return fmt.Errorf("a relief valve at %g bar above a rating of %s protects nothing; do not use this chamber", x, a["rated_bar_gauge"])
		}
	}
	return nil
}

func (a Answers) number(key string) float64 {
	x, _ := strconv.ParseFloat(a[key], 64) // was checked
	return x
}

// rangePa is the most that the transducer can show, Pa.
func (a Answers) rangePa() float64 {
	if bar, is := partBar[a["part"]]; is {
		return bar * 1e5
	}
	return a.number("high") * pascals[a["unit"]]
}

func (a Answers) has(key string) bool { return given(key)(a) }
