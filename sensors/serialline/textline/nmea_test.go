package textline

import (
	"fmt"
	"strings"
	"testing"

	"proofpot/sensors"
	"proofpot/sensors/scale"
	"proofpot/sensors/sensortest"
)

func xdr(t *testing.T) *Parser {
	return parser(t, Config{Shape: NMEA, Fields: []Field{
		{From: "P:POT", Quantity: pot, Unit: "bar", Reference: scale.Absolute},
		{From: "C:WATER", Quantity: sensors.ChamberWater, Unit: "C"},
		{From: "P:CAN", Quantity: sensors.UnitPressure, Unit: "bar", Reference: scale.Absolute},
		{From: "H:CAN", Quantity: sensors.UnitHumidity, Unit: "%"},
		{From: "C:CAN", Quantity: sensors.UnitTemperature, Unit: "C"},
	}}, nil)
}

func sentence(body string) []byte {
	var sum byte
	for i := range len(body) {
		sum ^= body[i]
	}
	return fmt.Appendf(nil, "$%s*%02X", body, sum)
}

// The rows name their sources; valid=0 has a checksum that does not match.
func TestPublishedXDRSentencesAreRead(t *testing.T) {
	want := map[string]string{
		"YXXDR,P,6.01325,B,POT,C,18.250,C,WATER":           "chamber pressure=601325; chamber water temperature=18.25",
		"YXXDR,P,1.00212,B,CAN,H,41.2,P,CAN,C,21.40,C,CAN": "inside pressure=100212; inside humidity=41.2; inside temperature=21.4",
	}
	seen := 0
	for _, row := range sensortest.Table(t, "../../../testdata/reference/nmea_xdr_checksum.csv", 7) {
		expect := want[row[0]] // the others have no transducer of ours and are passed over
		if expect != "" {
			seen++
		}
		if row[3] == "0" {
			expect = "chamber pressure garbled"
		}
		if got := said(xdr(t).Line(0, []byte("$"+row[0]+"*"+row[1]), nil)); got != expect {
			t.Errorf("%s reads %q, want %q", row[0], got, expect)
		}
	}
	if seen != len(want) {
		t.Errorf("%d of %d sentences are in the table", seen, len(want))
	}
}

func TestAnXDRSentenceThatIsNotWhatTheFileSaysIsAFault(t *testing.T) {
	for _, c := range []struct{ line, want string }{
		{string(sentence("YXXDR,P,601325,P,POT")), "chamber pressure garbled"},             // Pa, where the file says bar
		{string(sentence("YXXDR,P,6.0,B,POT,C,18.2,F,WATER")), "chamber pressure garbled"}, // one wrong unit, no value at all
		{string(sentence("YXXDR,P,6.0,B,POT,P,6.1,B,POT")), "chamber pressure garbled"},    // twice
		{string(sentence("YXXDR,P,6.0,B")), "chamber pressure garbled"},                    // cut short by the talker
		{string(sentence("YXXDR")), "chamber pressure garbled"},                            //
		{"$YXXDR,P,6.0,B,POT", "chamber pressure garbled"},                                 // no checksum
		{string(sentence("YXXDR,P,,B,POT,C,18.2,C,WATER")), "chamber pressure no-reading; chamber water temperature=18.2"},
		{string(sentence("YXXDR,P,-6.0,B,POT")), "chamber pressure out-of-range"},
		{string(sentence("GPZDA,201530.00,04,07,2002,00,00")), ""},
		{string(sentence("X")), "chamber pressure garbled"},
	} {
		if got := said(xdr(t).Line(0, []byte(c.line), nil)); got != c.want {
			t.Errorf("%s reads %q, want %q", c.line, got, c.want)
		}
	}
}

func TestALineOfAnyShapeIsTakenApartByAPattern(t *testing.T) {
	config := Config{Shape: Pattern, DecimalComma: true,
		Pattern: `Druck:\s*(?P<p>[-+0-9,]+) bar(?: / Wasser:\s*(?P<t>[-+0-9,]+) .?C)?|Probe (?P<w>wet|dry)`,
		Fields: []Field{
			{From: "p", Quantity: pot, Unit: "bar", Reference: scale.Absolute},
			{From: "t", Quantity: sensors.ChamberWater, Unit: "C"},
			{From: "w", Quantity: sensors.ProbeWet}}}
	for _, c := range []struct{ line, want string }{
		{"Druck: 3,214 bar / Wasser: 18,42 °C", "chamber pressure=321400; chamber water temperature=18.42"},
		{"Druck: 3,214 bar", "chamber pressure=321400"},
		{"Probe wet", "wet probe=1"},
		{"Druck: 3,2", "chamber pressure garbled"},                       // cut short
		{"Druck: 3,214 barDruck: 3,214 bar", "chamber pressure garbled"}, // run together
		{"Druck: 3,2,14 bar", "chamber pressure garbled"},
	} {
		p := parser(t, config, nil)
		if got := said(p.Line(0, []byte(c.line), nil)); got != c.want {
			t.Errorf("%q reads %q, want %q", c.line, got, c.want)
		}
	}
}

func TestAWrongPatternOrTransducerIsNamed(t *testing.T) {
	good := Field{From: "p", Quantity: pot, Unit: "bar", Reference: scale.Absolute}
	for _, c := range []struct {
		config Config
		want   string
	}{
		{Config{Shape: Pattern}, "pattern: no regular expression"},
		{Config{Shape: Pattern, Pattern: "("}, "pattern: is no regular expression"},
		{Config{Shape: Pattern, Pattern: "(?P<p>a)|(?P<p>b)"}, "pattern: "},
		{Config{Shape: Pattern, Pattern: "p=([0-9]+)"}, "pattern: has no named group"},
		{Config{Shape: Pattern, Pattern: "(?P<q>x)"}, `field[0].from: "p" is no group of the pattern; it has q`},
		{Config{Shape: KeyValue, Pattern: "x"}, "pattern: only lines of shape"},
		{Config{Shape: NMEA}, `field[0].from: "p" is no transducer`},
		{Config{Shape: NMEA, DecimalComma: true}, "decimal_comma: its numbers"},
		{Config{Shape: Protocol}, `field[0].from: "p" is no field of line protocol`},
		{Config{Shape: NMEA, Sequence: "n"}, "sequence: an XDR sentence"},
	} {
		c.config.Fields, c.config.Main = []Field{good}, pot
		if err := c.config.Check(); err == nil || !strings.HasPrefix(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%v, want %s", err, c.want)
		}
	}
}

func TestAnotherLoggersLineProtocolIsRead(t *testing.T) {
	config := Config{Shape: Protocol, Fields: []Field{
		{From: "pot,sensor=p1.pressure_bar", Quantity: pot, Unit: "bar", Reference: scale.Absolute},
		{From: "pot.water_c", Quantity: sensors.ChamberWater, Unit: "C"},
		{From: "probe.wet", Quantity: sensors.ProbeWet}}}
	for _, c := range []struct{ line, want string }{
		{"pot,sensor=p1 pressure_bar=3.214,water_c=18i 1767225600000000000", "chamber pressure=321400; chamber water temperature=18"},
		{"pot,rig=a,sensor=p1 pressure_bar=3.214", "chamber pressure=321400"},
		{"pot,sensor=p2 pressure_bar=3.214", ""},
		{"probe wet=true", "wet probe=1"},
		{`probe wet="dry"`, "wet probe=0"},
		{"cpu usage=3.2 1767225600000000000", ""},
		{"pot,sensor=p1 pressure_bar=3.2", "chamber pressure=320000"},
		{"pot,sensor=p1 pressure_bar=", "chamber pressure garbled"},
		{"pot,sensor=p1 pressure_bar=3.2 17672x", "chamber pressure garbled"},
		{"pot,sensor=p1", "chamber pressure garbled"},
		{"3.214;18.42", "chamber pressure garbled"},
	} {
		if got := said(parser(t, config, nil).Line(0, []byte(c.line), nil)); got != c.want {
			t.Errorf("%s reads %q, want %q", c.line, got, c.want)
		}
	}
}
