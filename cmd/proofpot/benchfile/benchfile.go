// Package benchfile writes a bench.toml, every line explained, from the answers
// to a few questions. It is pure: answers in, text out.
package benchfile

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
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
	Maybe   bool // "-" says that there is none, or that it is not known
	Asked   func(Answers) bool
}

// Answers are the answers by key.
type Answers map[string]string

func is(key, word string) func(Answers) bool {
	return func(a Answers) bool { return a[key] == word }
}

func given(key string) func(Answers) bool {
	return func(a Answers) bool { return a[key] != "" && a[key] != "-" }
}

// Questions are asked in this order.
var Questions = []Question{
	{Key: "id", Text: "A short name for this bench", Default: "pot-1"},
	{Key: "operated", Text: "Is the pressure made by a person at a hand pump, or by valves on GPIO lines?", Default: "hand", One: []string{"hand", "valves"}},
	{Key: "medium", Text: "What fills the chamber: water with a little gas above it, or gas alone?\n  Water stores far less energy; gas alone is for small, low chambers", Default: "water", One: []string{"water", "gas"}},
	{Key: "supply", Text: "What is let in to raise the pressure?", Default: "water", One: []string{"water", "gas"}, Asked: is("medium", "water")},
	{Key: "chamber_volume_ml", Text: "Volume of the empty chamber (fill it from a measuring jug)", Unit: "ml", Low: 50, High: 1e6},
	{Key: "gas_cushion_ml", Text: "Gas left above the water, at the room's pressure", Unit: "ml", Low: 1, High: 1e6, Asked: is("medium", "water")},
	{Key: "lid_diameter_mm", Text: "Inner diameter of the lid", Default: "-", Unit: "mm", Low: 10, High: 3000, Maybe: true},
	{Key: "rated_bar_gauge", Text: "Rating STAMPED ON THE CHAMBER. One without a stamped rating is not to be used", Unit: "bar gauge", Low: 0.1, High: 1000},
	{Key: "relief_bar_gauge", Text: "Pressure at which the relief valve opens; at or below the rating. One without a relief valve is not to be used", Unit: "bar gauge", Low: 0.05, High: 1000},
	{Key: "port", Text: "Serial port of the pressure transducer"},
	{Key: "baud", Text: "Its speed", Default: "115200", Unit: "baud", Low: 50, High: 4e6},
	{Key: "line", Text: "Shape of its lines: p_bar=3.2 is key-value, 3.2;18.4 is csv, {\"p\":3.2} is json", Default: "key-value", One: []string{"key-value", "csv", "json"}},
	{Key: "decimal_comma", Text: "Are decimals written with a comma?", Default: "no", One: []string{"yes", "no"}, Asked: is("line", "csv")},
	{Key: "from", Text: "Where the pressure stands in the line: the key (p_bar), the column from 1, or the JSON path (pot.kpa)"},
	{Key: "unit", Text: "Its unit", Default: "bar", One: []string{"Pa", "hPa", "mbar", "kPa", "bar", "MPa", "psi"}},
	{Key: "reference", Text: "At open vent, does it show about 0 (gauge) or about 1 bar (absolute)?", One: []string{"absolute", "gauge"}},
	{Key: "room_hpa", Text: "The barometer today, where you are (not reduced to sea level)", Default: "-", Unit: "hPa", Low: 500, High: 1100, Maybe: true},
	{Key: "high", Text: "The most that the transducer can show, in its unit", Low: 0, High: 1e9, Unit: "in its unit"},
	{Key: "accuracy_pct", Text: "Its accuracy as a share of that, from its data sheet", Default: "1", Unit: "%", Low: 0.001, High: 20},
	{Key: "water_from", Text: "Where the temperature in the chamber stands in the same line", Default: "-", Maybe: true},
	{Key: "water_unit", Text: "Its unit", Default: "C", One: []string{"C", "K", "F"}, Asked: given("water_from")},
	{Key: "chip", Text: "GPIO chip that the valves' relays hang on", Default: "gpiochip0", Asked: is("operated", "valves")},
	{Key: "fill_line", Text: "Line of the fill valve, which is NORMALLY CLOSED", Asked: is("operated", "valves")},
	{Key: "vent_line", Text: "Line of the vent valve, which is NORMALLY OPEN", Asked: is("operated", "valves")},
	{Key: "active", Text: "Level at which a relay pulls in", Default: "low", One: []string{"low", "high"}, Asked: is("operated", "valves")},
	{Key: "heartbeat_line", Text: "Line of the watchdog relay, which cuts the valves' power when the program hangs", Default: "-", Maybe: true, Asked: is("operated", "valves")},
	{Key: "stop_line", Text: "Line of the emergency stop's contact, high when pressed", Default: "-", Maybe: true, Asked: is("operated", "valves")},
	{Key: "lid_line", Text: "Line of the lid switch, high when the lid is open", Default: "-", Maybe: true, Asked: is("operated", "valves")},
}

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
	case text == "-" && q.Maybe:
		return text, nil
	case strings.ContainsAny(text, "\"\\\n\x00") || strings.ContainsFunc(text, func(r rune) bool { return r < ' ' }):
		return "", fmt.Errorf("%q: no quotes and no backslashes", text)
	case q.One != nil:
		if !slices.Contains(q.One, text) {
			return "", fmt.Errorf("%q: type one of %s", text, strings.Join(q.One, ", "))
		}
	case q.Unit != "":
		x, err := strconv.ParseFloat(text, 64)
		if err != nil {
			return "", fmt.Errorf("%q is no number; decimals are written with a point, without the unit", text)
		}
		if !(x >= q.Low && x <= q.High) {
			return "", fmt.Errorf("%s: want %g to %g %s", text, q.Low, q.High, q.Unit)
		}
		if err := together(q.Key, x, a); err != nil {
			return "", err
		}
		text = strconv.FormatFloat(x, 'f', -1, 64)
	}
	return text, nil
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
	case "accuracy_pct":
		if off := x / 100 * a.number("high") * pascals[a["unit"]]; off > mostOffPa {
			return fmt.Errorf("%g %% of %s %s is %.3g bar: too coarse to measure with; are the range and its unit right?", x, a["high"], a["unit"], off/1e5)
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

func (a Answers) has(key string) bool { return given(key)(a) }
