package textline

import (
	"fmt"
	"strings"
)

// NMEA 0183 (IEC 61162-1), sentence XDR, transducer measurements, as it is
// widely published:
//
//	$--XDR,type,value,unit,name,…*hh
//
// with four places a transducer. The checksum is demanded. Other sentences of
// the same talker, and transducers that no field asks for, are passed over.

// nmeaUnits gives the unit of bench.toml for a transducer's type and unit.
var nmeaUnits = map[string]string{
	"P,B": "bar", "P,P": "Pa", // pressure
	"C,C": "C", // temperature
	"H,P": "%", // relative humidity
}

// nmeaTypes are the types of transducers that a field can read.
const nmeaTypes = "PCHGS" // pressure, temperature, humidity; generic and switch have no unit

// splitNMEA takes a sentence apart. Its transducers are known as "P:POT": type
// and name, since one name often stands for several types.
func (p *Parser) splitNMEA(body string) (lookup, string) {
	parts := strings.Split(body, ",")
	if len(parts[0]) < 5 {
		return nil, "no NMEA sentence"
	}
	if !strings.HasSuffix(parts[0], "XDR") {
		return nil, headerLine
	}
	if parts = parts[1:]; len(parts) == 0 || len(parts)%4 != 0 || len(parts) > 4*maxColumns {
		return nil, fmt.Sprintf("%d places; a transducer has four", len(parts))
	}
	p.places = p.places[:0]
	asked := false
	for i := 0; i < len(parts); i += 4 {
		kind, value, unit, name := parts[i], parts[i+1], parts[i+2], parts[i+3]
		key := kind + ":" + name
		if _, twice := p.find(key); twice {
			return nil, fmt.Sprintf("%s comes twice", Shorten([]byte(key)))
		}
		p.places = append(p.places, place{key, value})
		for j := range p.config.Fields {
			f := &p.config.Fields[j]
			if f.From != key {
				continue
			}
			asked = true
			if is := nmeaUnits[kind+","+unit]; is != f.Unit {
				return nil, fmt.Sprintf("%s is in %s, bench.toml says %s", key, Shorten([]byte(unit)), quoted(f.Unit))
			}
		}
	}
	if !asked {
		return nil, headerLine
	}
	return p.find, ""
}

// checkTransducer looks at the place of an XDR field.
func checkTransducer(key, from string) error {
	kind, _, ok := strings.Cut(from, ":")
	if !ok || len(kind) != 1 || !strings.Contains(nmeaTypes, kind) {
		return wrong(key, "%s is no transducer; give its type and name, \"P:POT\" for $YXXDR,P,6.01,B,POT", quoted(from))
	}
	return nil
}
