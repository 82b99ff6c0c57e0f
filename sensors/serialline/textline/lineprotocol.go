package textline

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/influxdata/line-protocol/v2/lineprotocol"
)

// splitLineProtocol takes apart one line of line protocol:
//
//	pot,sensor=p1 pressure_bar=3.214,water_c=18.42 1767225600000000000
//
// A field is known by its measurement and name, "pot.pressure_bar", and, where
// that is not enough, by a tag as well: "pot,sensor=p1.pressure_bar". The time in
// the line is the other logger's and is passed over: a reading has the time of its
// arrival. Lines of which no field is asked for are passed over.
func (p *Parser) splitLineProtocol(body string) (lookup, string) {
	d := lineprotocol.NewDecoderWithBytes([]byte(body))
	if !d.Next() {
		return nil, "no line protocol"
	}
	name, err := d.Measurement()
	if err != nil {
		return nil, protocolError(err)
	}
	from := []string{string(name)}
	for {
		key, value, err := d.NextTag()
		if err != nil {
			return nil, protocolError(err)
		}
		if key == nil {
			break
		}
		if len(from) == maxColumns {
			return nil, fmt.Sprintf("more than %d tags", maxColumns)
		}
		from = append(from, string(name)+","+string(key)+"="+string(value))
	}
	p.places = p.places[:0]
	for {
		key, value, err := d.NextField()
		if err != nil {
			return nil, protocolError(err)
		}
		if key == nil {
			break
		}
		text := value.String()
		if value.Kind() == lineprotocol.String {
			text = value.StringV()
		}
		text = strings.TrimRight(text, "iu") // of whole numbers
		if b, ok := value.Interface().(bool); ok {
			text = strconv.FormatBool(b)
		}
		for _, f := range from {
			if len(p.places) == maxColumns*4 {
				return nil, "too many fields"
			}
			p.places = append(p.places, place{f + "." + string(key), text})
		}
	}
	if _, err := d.Time(lineprotocol.Nanosecond, time.Time{}); err != nil {
		return nil, protocolError(err)
	}
	if d.Next() {
		return nil, "more than one line"
	}
	for i := range p.config.Fields {
		if _, asked := p.find(p.config.Fields[i].From); asked {
			return p.find, ""
		}
	}
	return nil, headerLine
}

func protocolError(err error) string { return "no line protocol: " + Shorten([]byte(err.Error())) }

// checkProtocolField looks at the place of a field.
func checkProtocolField(key, from string) error {
	dot := strings.LastIndexByte(from, '.')
	measurement, tag, tagged := strings.Cut(from[:max(dot, 0)], ",")
	if dot < 1 || dot == len(from)-1 || measurement == "" || tagged && !strings.Contains(tag, "=") {
		return wrong(key, "%s is no field of line protocol; give measurement and name, \"pot.pressure_bar\", with a tag \"pot,sensor=p1.pressure_bar\"", quoted(from))
	}
	return nil
}
