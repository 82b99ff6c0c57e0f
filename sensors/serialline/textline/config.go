// Package textline turns the text lines of a measuring device into readings.
// It is pure: bytes and the time of their arrival go in, readings come out.
//
// The shapes of a line, its optional sequence number and its checksum are
// documented in the package above, serialline.
package textline

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"proofpot/sensors"
	"proofpot/sensors/scale"
)

// The shapes of a line.
const (
	KeyValue = "key-value"     // p_bar=3.214 t_c=18.42
	CSV      = "csv"           // 3.214;18.42
	JSON     = "json"          // {"p":{"bar":3.214},"t":18.42}
	Pattern  = "pattern"       // whatever a regular expression takes apart
	NMEA     = "nmea-xdr"      // $YXXDR,P,3.214,B,POT,C,18.42,C,WATER*48
	Protocol = "line-protocol" // pot,sensor=p1 pressure_bar=3.214 1767225600000000000
)

// Shapes lists the shapes that a Config may ask for.
func Shapes() []string { return []string{KeyValue, CSV, JSON, Pattern, NMEA, Protocol} }

// Config says how the lines of one device look and what they mean.
type Config struct {
	Sensor       string           // id in bench.toml, repeated in each reading
	Shape        string           // see Shapes
	Pattern      string           // shape pattern: a regular expression whose named groups are the numbers
	DecimalComma bool             // numbers are written 3,214; a comma then separates nothing
	Separator    string           // csv: ",", ";", "\t" or " "; empty: found in each line
	Checksum     bool             // refuse lines without a checksum
	Sequence     string           // where the sequence number stands; empty: "n", for csv none
	Banner       string           // text of the line that the device prints when it starts, or part of it
	Main         sensors.Quantity // carries the news about a whole line; one of the fields measures it
	Fields       []Field
}

// Field is one number of a line.
type Field struct {
	From      string           // key, column from 1, JSON path a.b.c, group, or NMEA type:name
	Quantity  sensors.Quantity //
	Unit      string           // see scale.UnitsOf
	Reference string           // pressures only, see scale.References
	SealedPa  float64          // Pa absolute, sealed into a sealed-gauge transducer; 0: the standard atmosphere
	Low, High float64          // what the sensor can truly show, in Unit; both 0: not declared
	Interval  time.Duration    // between two values; 0: as the device
}

// ConfigError says which key of a sensor in bench.toml is wrong, and why.
type ConfigError struct {
	Key  string // "line", "field[0].unit", relative to the sensor
	Text string
}

func (e *ConfigError) Error() string { return e.Key + ": " + e.Text }

// Check says whether the lines can be read as c says; the error is a
// *ConfigError.
func (c *Config) Check() error {
	if !slices.Contains(Shapes(), c.Shape) {
		return wrong("line", "%s is no shape of a line; use %s", quoted(c.Shape), scale.List(Shapes()))
	}
	if c.DecimalComma && c.Shape == JSON {
		return wrong("decimal_comma", "a JSON number has a decimal point; leave it out")
	}
	if c.DecimalComma && (c.Shape == NMEA || c.Shape == Protocol) {
		return wrong("decimal_comma", "its numbers have a decimal point; leave it out")
	}
	if c.Sequence != "" && c.Shape == NMEA {
		return wrong("sequence", "an XDR sentence has no line number; leave it out")
	}
	if c.Pattern != "" && c.Shape != Pattern {
		return wrong("pattern", "only lines of shape \"pattern\" have one; leave it out")
	}
	if c.Shape == Pattern {
		if _, err := compile(c.Pattern); err != nil {
			return err
		}
	}
	if c.Separator != "" && c.Shape != CSV {
		return wrong("separator", "only csv lines have a separator to choose; leave it out")
	}
	if !slices.Contains([]string{"", ",", ";", "\t", " "}, c.Separator) {
		return wrong("separator", "%s is no separator; use \",\", \";\", \"\\t\" or \" \"", quoted(c.Separator))
	}
	if c.Separator == "," && c.DecimalComma {
		return wrong("separator", "a comma cannot be both the decimal mark and the separator")
	}
	if err := c.checkPlace("sequence", c.Sequence, true); err != nil {
		return err
	}
	if len(c.Fields) == 0 {
		return wrong("field", "no field says where the numbers stand; add [[sensor.field]] with from, measures and unit")
	}
	main := false
	for i := range c.Fields {
		if err := c.checkField(i); err != nil {
			return err
		}
		main = main || c.Fields[i].Quantity == c.Main
	}
	if !main {
		return wrong("measures", "no field of this sensor measures %s", c.Main)
	}
	return nil
}

func (c *Config) checkField(i int) error {
	f := &c.Fields[i]
	key := func(name string) string { return fmt.Sprintf("field[%d].%s", i, name) }
	if err := c.checkPlace(key("from"), f.From, false); err != nil {
		return err
	}
	for j, other := range c.Fields[:i] {
		if other.Quantity == f.Quantity {
			return wrong(key("measures"), "%s is measured by field %d of this sensor already; a second one is a sensor of its own",
				f.Quantity, j+1)
		}
	}
	meaning := f.scale()
	if err := meaning.Check(); err != nil {
		var at *scale.Error
		if errors.As(err, &at) {
			return wrong(key(at.Key), "%s", at.Text)
		}
		return err
	}
	if f.Interval < 0 {
		return wrong(key("interval_s"), "must be above 0")
	}
	return nil
}

// scale says what the field's number means.
func (f *Field) scale() scale.Scale {
	return scale.Scale{From: f.From, Quantity: f.Quantity, Unit: f.Unit, Reference: f.Reference, SealedPa: f.SealedPa, Low: f.Low, High: f.High}
}

// checkPlace looks at a key, a column or a path.
func (c *Config) checkPlace(key, place string, optional bool) error {
	if place == "" {
		if optional {
			return nil
		}
		return wrong(key, "say where the number stands: %s", c.placeWord())
	}
	if c.Shape == CSV {
		if n, err := strconv.Atoi(place); err != nil || n < 1 || n > maxColumns {
			return wrong(key, "%s is no column; give its number as text, \"1\" for the first", quoted(place))
		}
	}
	switch c.Shape {
	case Pattern:
		return c.checkGroup(key, place)
	case NMEA:
		return checkTransducer(key, place)
	case Protocol:
		return checkProtocolField(key, place)
	}
	if c.Shape == KeyValue && strings.ContainsAny(place, "= ,;\t") {
		return wrong(key, "a key cannot hold =, a space, a comma, a semicolon or a tab: %s", quoted(place))
	}
	return nil
}

func (c *Config) placeWord() string {
	switch c.Shape {
	case CSV:
		return "its column number as text, \"1\" for the first"
	case Pattern:
		return "its group, \"p\" for (?P<p>…)"
	case Protocol:
		return "its measurement and name, \"pot.pressure_bar\""
	case NMEA:
		return "its transducer, \"P:POT\" for P,6.01,B,POT"
	case JSON:
		return "its path, \"a.b\" for {\"a\":{\"b\":1}}"
	}
	return "its key, \"p_bar\" for p_bar=3.214"
}

func wrong(key, format string, args ...any) error {
	return &ConfigError{Key: key, Text: fmt.Sprintf(format, args...)}
}

func quoted(s string) string { return strconv.Quote(s) }
