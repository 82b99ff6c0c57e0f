package setup

import (
	"os"
	"testing"

	"proofpot/sensors"
	"proofpot/sensors/max31865"
)

func TestThermometersOnOneWireAndSPIAreRead(t *testing.T) {
	data, err := os.ReadFile("testdata/hand-temperatures.toml")
	if err != nil {
		t.Fatal(err)
	}
	parse := func(data []byte) error { _, err := ParseBench("bench.toml", data); return err }
	b, err := ParseBench("bench.toml", data)
	if err != nil {
		t.Fatal(err)
	}
	water, wall := b.Sensors[1].DS18B20(), b.Sensors[2].MAX31865()
	if water.Quantity != sensors.ChamberWater || wall.Quantity != sensors.ChamberWall || water.Check() != nil || wall.Check() != nil {
		t.Errorf("%+v %+v", water, wall)
	}
	if e := b.Sensors[2].Element(); e != (max31865.Element{R0Ohm: 100, ReferenceOhm: 430, Wires: 3, MainsHz: 50}) {
		t.Errorf("%+v", e)
	}
	good := string(data)
	for _, e := range []edit{
		{`part = "28-0316a2795cff"`, ``, `part: "" is no name of a part on 1-Wire`},
		{`part = "28-0316a2795cff"`, `part = "10-0316a2795cff"`, `part: "10-0316a2795cff" is no DS18B20`},
		{`part = "28-0316a2795cff"`, `part = "28-../../../dev"`, `is no name of a part on 1-Wire`},
		{`interval_s = 2 `, `interval_s = 0.5 `, `interval_s: 0.5 is faster than the part measures; 1 s is the least`},
		{`measures = "chamber water temperature"`, `measures = "inside humidity"`, `measures: a DS18B20 is a thermometer; it cannot measure inside humidity`},
		{`interval_s = 2 `, `field = [{from = "t"}] `, `field: a DS18B20 gives one temperature`},
		{`spi = "0.0"`, `spi = "/dev/spidev0.0"`, `spi: "/dev/spidev0.0" is no place on SPI`},
		{`spi = "0.0"`, ``, `spi: "" is no place on SPI`},
		{`r0_ohm = 100 `, `r0_ohm = 10 `, `r0_ohm: 10 is no platinum thermometer of this part`},
		{`reference_ohm = 430 `, `reference_ohm = 4300 `, `reference_ohm: 4300 cannot be the reference resistor of a Pt100`},
		{`r0_ohm = 100 `, `r0_ohm = 1000 `, `reference_ohm: 430 cannot be the reference resistor of a Pt1000`},
		{`wires = 3 `, `wires = 1 `, `wires: 1 is no number of wires`},
		{`mains_hz = 50 `, ``, `mains_hz: 0 is no mains`},
		{`measures = "chamber wall temperature"`, `measures = "chamber pressure"`, `measures: a MAX31865 reads a thermometer; it cannot measure chamber pressure`},
		{`interval_s = 1 `, `field = [{from = "t"}] `, `field: a MAX31865 gives one temperature`},
		{`interval_s = 1 `, `interval_s = 0.1 `, `interval_s: 0.1 is faster than the part measures; 0.2 s is the least`},
		{`id = "wall"`, "id = \"two\"\nmeasures = \"chamber gas temperature\"\ndriver = \"ds18b20\"\npart = \"28-0316a2795cff\"\n[[sensor]]\nid = \"wall\"",
			`part: sensor "water" reads it already`},
		{`id = "wall"`, "id = \"two\"\nmeasures = \"chamber gas temperature\"\ndriver = \"max31865\"\nspi = \"0.0\"\nr0_ohm = 100\nreference_ohm = 430\nwires = 4\nmains_hz = 50\n[[sensor]]\nid = \"wall\"",
			`spi: sensor "two" reads it already`},
	} {
		expect(t, e, good, "bench.toml", parse)
	}
}
