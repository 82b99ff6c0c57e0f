package setup

import "testing"

const otherLogger = `
[[sensor]]
id = "can"
measures = "inside pressure"
driver = "file-line"
path = "/run/can.lp"
line = "line-protocol"
[[sensor.field]]
from = "can,unit=KP-01.pressure_hpa"
unit = "hPa"
reference = "absolute"
`

func TestAnotherLoggersOutputIsASensor(t *testing.T) {
	good := handSerial(t) + otherLogger
	parse := func(data []byte) error { _, err := ParseBench("bench.toml", data); return err }
	if err := parse([]byte(good)); err != nil {
		t.Fatal(err)
	}
	for _, e := range []edit{
		{`path = "/run/can.lp"`, ``, `path: no file; give the path`},
		{`path = "/run/can.lp"`, `path = "-"` + "\nbaud = 9600", `port: a file has no port`},
		{`from = "can,unit=KP-01.pressure_hpa"`, `from = "pressure_hpa"`, `is no field of line protocol`},
		{`line = "line-protocol"`, `line = "influx"`, `line: "influx" is no shape of a line`},
	} {
		expect(t, e, good, "bench.toml", parse)
	}
}
