package setup

import (
	"strings"
	"testing"
)

const dialGauge = `
[[sensor]]
id = "g1"
measures = "chamber pressure"
driver = "typed"
division = 0.2
interval_s = 600
accuracy_pa = 16000
[[sensor.field]]
from = "dial"
unit = "bar"
reference = "gauge"
low = 0
high = 10
`

func TestADialGaugeIsAWitnessAndNeverTheGuard(t *testing.T) {
	good := handSerial(t) + dialGauge
	parse := func(data []byte) error { _, err := ParseBench("bench.toml", data); return err }
	if err := parse([]byte(good)); err != nil {
		t.Fatal(err)
	}
	for _, e := range []edit{
		{`division = 0.2`, ``, `division: 0 is no division of a scale`},
		{`interval_s = 600`, ``, `interval_s: 0: a person can be asked every 30 s at most`},
		{`driver = "typed"`, `driver = "typed"` + "\nport = \"/dev/x\"", `driver: a person has no port`},
		{"unit = \"bar\"\nreference = \"gauge\"\nlow = 0", "unit = \"bar\"\nlow = 0", `reference: say what the pressure is measured from`},
	} {
		expect(t, e, good, "bench.toml", parse)
	}
	first, rest, _ := strings.Cut(handSerial(t), "[[sensor]]")
	err := parse([]byte(first + dialGauge + "\n[[sensor]]" + rest))
	if err == nil || !strings.Contains(err.Error(), "comes too seldom to guard a pot") {
		t.Errorf("a dial gauge as the first sensor of the chamber: %v", err)
	}
}
