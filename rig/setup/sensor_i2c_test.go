package setup

import (
	"os"
	"testing"

	"proofpot/sensors"
)

func TestPartsOnABusAreRead(t *testing.T) {
	data, err := os.ReadFile("testdata/hand-i2c.toml")
	if err != nil {
		t.Fatal(err)
	}
	b, err := ParseBench("bench.toml", data)
	if err != nil {
		t.Fatal(err)
	}
	fields, outputs := b.Sensors[1].I2C()
	if outputs != 3 || len(fields) != 3 || fields[0].Index != 2 || fields[0].Scale.Quantity != sensors.UnitHumidity ||
		fields[1].Index != 0 || fields[1].Scale.Unit != "Pa" || fields[1].Scale.Reference != "absolute" {
		t.Errorf("%d %+v", outputs, fields)
	}
	for _, f := range fields {
		if err := f.Scale.Check(); err != nil {
			t.Error(err)
		}
	}
	if s := b.Sensors[0]; s.Mux != 0x70 || *s.Channel != 0 || s.Address != 0x76 || !b.HasBarometer() {
		t.Errorf("%+v", s)
	}
	good := string(data)
	for _, e := range []edit{
		{`driver = "ms5837-30ba"`, `driver = "ms5837-30b"`, `driver: "ms5837-30b" is none of`},
		{`bus = "1"`, `bus = "/dev/i2c-1"`, `bus: "/dev/i2c-1" is no I2C bus`},
		{`address = 0x76`, `address = 0x77`, `address: 0x77 is no address of a ms5837-30ba; 0x76 is`},
		{`address = 0x77 `, `address = 0x44 `, `address: 0x44 is no address of a bmp280; 0x76, 0x77 are`},
		{`address = 0x77 `, `address = 0x76 `, `address: sensor "p1" is at 0x76 of bus "1" too`},
		{`channel = 1`, `channel = 0`, `address: sensor "p1" is at 0x76 of bus "1" too`},
		{`channel = 1`, `channel = 8`, `channel: 8 is no channel of a TCA9548A`},
		{`channel = 1`, ``, `channel: which channel of the multiplexer?`},
		{"mux = 0x70\nchannel = 1", `channel = 1`, `channel: channel of what?`},
		{`mux = 0x70 `, `mux = 0x60 `, `mux: 0x60 is no address of a TCA9548A`},
		{`mux = 0x70 `, `mux = 0x76 `, `mux: 0x76 is the part's own address`},
		{`mux = 0x70 `, `mux = 0x77 `, `address: sensor "p1" is at 0x77 of bus "1" too`},
		{`interval_s = 0.2`, `interval_s = 0.05`, `interval_s: 0.05 is faster than the part measures`},
		{`from = "temperature"`, `from = "humidity"`, `from: "humidity" is none of "pressure", "temperature"`},
		{`measures = "chamber water temperature"`, `measures = "room humidity"`, `measures: temperature of a part is no room humidity`},
		{`measures = "chamber water temperature"`, `measures = "chamber water temperature"` + "\nunit = \"K\"", `from: a ms5837-30ba knows its unit`},
	} {
		expect(t, e, good, "bench.toml", func(data []byte) error { _, err := ParseBench("bench.toml", data); return err })
	}
}
