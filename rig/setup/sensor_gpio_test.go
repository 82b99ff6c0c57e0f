package setup

import "testing"

const stopAndProbe = `
[[sensor]]
id = "stop"
measures = "emergency stop"
driver = "gpio-line"
chip = "pinctrl-bcm2835"
line = "GPIO17"
active = "high"
bias = "pull-up"
debounce_ms = 20

[[sensor]]
id = "w1"
measures = "wet probe"
driver = "gpio-line"
chip = "pinctrl-bcm2835"
line = "27"
active = "low"
bias = "as-is"
`

func TestADigitalLineWhoseBrokenWireWouldReadAsAllWellIsRefused(t *testing.T) {
	good := handSerial(t) + stopAndProbe
	parse := func(data []byte) error { _, err := ParseBench("bench.toml", data); return err }
	if err := parse([]byte(good)); err != nil {
		t.Fatal(err)
	}
	for _, e := range []edit{
		{`active = "high"`, `active = "low"`, `a broken wire of the emergency stop would read as all well; wire a normally closed contact and give active = "high"`},
		{`bias = "pull-up"`, `bias = "pull-down"`, `give active = "low"`},
		{`bias = "pull-up"`, `bias = "as-is"`, `bias: nothing says what a broken wire of the emergency stop reads`},
		{`bias = "pull-up"`, ``, `bias: "" is none of`},
		{`active = "high"`, ``, `active: "" is none of "high", "low"`},
		{`line = "GPIO17"`, ``, `line: no line of the chip`},
		{`chip = "pinctrl-bcm2835"`, ``, `chip: no GPIO chip`},
		{`measures = "emergency stop"`, `measures = "chamber gas temperature"`, `measures: a digital line has two states and cannot measure`},
		{`debounce_ms = 20`, `interval_s = 5`, `interval_s: 5: a switch that is silent for long counts as open`},
		{`debounce_ms = 20`, `debounce_ms = 5000`, `debounce_ms: 5000 must be 0 to 1000 ms`},
		{`debounce_ms = 20`, `field = [{from="1"}]`, `field: a digital line has no fields`},
	} {
		expect(t, e, good, "bench.toml", parse)
	}
}
