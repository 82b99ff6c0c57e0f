package textline

import (
	"bytes"
	"fmt"
	"regexp"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"proofpot/sensors"
	"proofpot/sensors/scale"
)

// maxColumns bounds a csv line.
const maxColumns = 64

// Parser reads the lines of one device, in order. Its state is what one line
// says about the next: the sequence number, the number of columns, whether
// lines carry a checksum. It is for one goroutine.
type Parser struct {
	config Config
	room   *scale.Room

	pattern *regexp.Regexp

	checksummed bool   // a line with a checksum has been seen
	sequenced   bool   // a sequence number has been seen
	sequence    uint64 // the last one
	columns     int    // csv: of the last line, 0 before the first
	header      string // csv: a first line without numbers
	valued      bool   // a line with a value has been seen

	places []place // csv and key-value: reused between lines
}

// place is one piece of a line: a key and its value, or a column.
type place struct{ key, text string }

// NewParser checks the config and makes its parser. Gauge pressures are added
// to room, and the device's barometer, where it has one, is told to it.
func NewParser(config Config, room *scale.Room) (*Parser, error) {
	if err := config.Check(); err != nil {
		return nil, err
	}
	p := &Parser{config: config, room: room}
	switch config.Shape {
	case Pattern:
		p.pattern, _ = compile(config.Pattern) // Check has
	case NMEA:
		p.config.Checksum = true
		return p, nil
	case CSV, Protocol:
		return p, nil
	}
	if config.Sequence == "" {
		p.config.Sequence = "n"
	}
	return p, nil
}

// Restart forgets what the last line said about the next: the port was opened
// anew.
func (p *Parser) Restart() { p.sequenced, p.columns = false, 0 }

// Line appends the readings of one line, without its end, that arrived at a
// time. A line of which anything cannot be read gives no value at all, but one
// fault of the device's main quantity: a damaged line may hold a damaged number
// that looks whole. A number that is out of range, or a place that the device
// itself leaves without a value, is a fault of its own quantity and leaves the
// others be. Comment lines and keys that no field asks for are passed over.
func (p *Parser) Line(at time.Duration, line []byte, to []sensors.Reading) []sensors.Reading {
	if why := unreadable(line); why != "" {
		return append(to, p.fault(sensors.Garbled, at, why+": "+Shorten(line)))
	}
	text := strings.TrimSpace(string(line))
	if text == "" {
		return to
	}
	if strings.HasPrefix(text, "#") {
		if p.isBanner(text) {
			return append(to, p.restarted(at, line))
		}
		return to
	}
	body, why := p.checksum(text)
	var found lookup
	if why == "" {
		found, why = p.split(body)
	}
	if why == startLine {
		return append(to, p.restarted(at, line))
	}
	if why == headerLine {
		return to
	}
	base := len(to)
	if why == "" {
		to, why = p.values(at, found, to)
	}
	if why != "" {
		to = to[:base]
		if p.isBanner(text) {
			return append(to, p.restarted(at, line))
		}
		return append(to, p.fault(sensors.Garbled, at, why+": "+Shorten(line)))
	}
	return to
}

// TooLong is the fault of a line that never ended.
func (p *Parser) TooLong(at time.Duration, start []byte) sensors.Reading {
	return p.fault(sensors.Garbled, at, fmt.Sprintf("no line end within %d bytes: %s", MaxLine, Shorten(start)))
}

// Words that split uses for lines that are neither values nor damage.
const (
	headerLine = "header"
	startLine  = "start"
)

// lookup finds the text that stands at a field's place of a line.
type lookup func(from string) (text string, found bool)

func (p *Parser) split(body string) (lookup, string) {
	switch p.config.Shape {
	case CSV:
		return p.splitCSV(body)
	case JSON:
		return splitJSON(body)
	case Pattern:
		return p.splitPattern(body)
	case NMEA:
		return p.splitNMEA(body)
	case Protocol:
		return p.splitLineProtocol(body)
	}
	return p.splitKeyValue(body)
}

// values appends the readings of a line that was taken apart. Where the line as
// a whole is not to be believed it says why.
func (p *Parser) values(at time.Duration, find lookup, to []sensors.Reading) ([]sensors.Reading, string) {
	numbers := make([]number, len(p.config.Fields))
	present := make([]bool, len(p.config.Fields))
	any := false
	for i := range p.config.Fields {
		f := &p.config.Fields[i]
		text, found := find(f.From)
		if !found {
			continue
		}
		n := parseNumber(word(f.Quantity, text), p.config.DecimalComma)
		if n.wrong != "" {
			return to, fmt.Sprintf("%s %s %s", f.From, Shorten([]byte(text)), n.wrong)
		}
		numbers[i], present[i], any = n, true, true
	}
	if !any {
		return to, "nothing that bench.toml asks for"
	}
	to, why := p.follow(at, find, to)
	if why != "" {
		return to, why
	}
	p.valued = true
	// The barometer of a device serves the gauge pressures of the same line.
	for _, barometer := range []bool{true, false} {
		for i := range p.config.Fields {
			f := &p.config.Fields[i]
			if present[i] && (f.Quantity == sensors.RoomPressure) == barometer {
				to = append(to, p.reading(at, f, numbers[i]))
			}
		}
	}
	return to, ""
}

// word turns the words for the state of a probe or switch into its number.
func word(q sensors.Quantity, text string) string {
	if !q.TwoState() {
		return text
	}
	lower := strings.ToLower(text)
	if q == sensors.ProbeWet {
		switch lower {
		case "wet", "true":
			return "1"
		case "dry", "false":
			return "0"
		}
		return text
	}
	switch lower { // of a switch only what cannot be taken the wrong way round
	case "open", "pressed":
		return "1"
	case "shut", "closed", "released":
		return "0"
	}
	return text
}

// reading turns a number into a reading: unit, reference, ranges. Nothing is
// clamped.
func (p *Parser) reading(at time.Duration, f *Field, n number) sensors.Reading {
	if n.none {
		return sensors.Fault(p.config.Sensor, f.Quantity, sensors.NoReading, at, "the device says that it has no value for "+f.From)
	}
	meaning := f.scale()
	return meaning.Reading(p.config.Sensor, at, n.value, p.room)
}

func (p *Parser) fault(s sensors.Status, at time.Duration, text string) sensors.Reading {
	return sensors.Fault(p.config.Sensor, p.config.Main, s, at, text)
}

func (p *Parser) restarted(at time.Duration, line []byte) sensors.Reading {
	p.Restart()
	return p.fault(sensors.Restarted, at, "the device started anew and said "+Shorten(line))
}

// startWords are what boot loaders and sketches print when they start, as
// common practice goes.
var startWords = []string{"boot", "reset", "restart", "rst:", "power-on", "power on", "poweron", "watchdog", "brownout", "brown-out"}

// isBanner says whether a line without values is what a device prints when it
// starts.
func (p *Parser) isBanner(text string) bool {
	if p.config.Banner != "" && strings.Contains(text, p.config.Banner) {
		return true
	}
	small := strings.ToLower(text)
	for _, w := range startWords {
		if strings.Contains(small, w) {
			return true
		}
	}
	return false
}

// unreadable says what of a line is no text, or nothing.
func unreadable(line []byte) string {
	if !utf8.Valid(line) {
		return "bytes that are no text"
	}
	if bytes.ContainsFunc(line, func(r rune) bool { return r != '\t' && unicode.IsControl(r) }) {
		return "control characters"
	}
	return ""
}
