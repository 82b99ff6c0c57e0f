package setup

import (
	"os"
	"testing"

	"proofpot/sensors/modbus"
)

func TestTransmittersOnOneLineAreRead(t *testing.T) {
	data, err := os.ReadFile("testdata/hand-modbus.toml")
	if err != nil {
		t.Fatal(err)
	}
	good := string(data)
	b, err := ParseBench("bench.toml", data)
	if err != nil {
		t.Fatal(err)
	}
	fields, err := b.Sensors[0].Modbus()
	if err != nil || len(fields) != 1 || fields[0].Register != 4 || *fields[0].DecimalsFrom != 3 || *fields[0].UnitFrom != 2 || fields[0].Function != modbus.ReadHolding {
		t.Errorf("%+v, %v", fields, err)
	}
	if fields, err = b.Sensors[1].Modbus(); err != nil || fields[0].Register != 10 || fields[0].Function != modbus.ReadInput || fields[0].WordOrder != modbus.LowFirst {
		t.Errorf("%+v, %v", fields, err)
	}
	for _, e := range []edit{
		{"modbus_address = 1 ", "modbus_address = 248 ", `modbus_address: 248 is no address of a device`},
		{`parity = "none"  `, ``, `parity: say what the device is set to`},
		{`parity = "none"  `, `parity = "even"  `, `port: sensor "p1" is on the same line with another baud, parity`},
		{`parity = "none"  `, `parity = "mark"  `, `parity: "mark" is none of`},
		{`baud = 9600`, `baud = 9601`, `baud: 9601 is no usual rate`},
		{`from = "4" `, `from = "40005x" `, `from: "40005x" is no register`},
		{`type = "int16"`, `type = "short"`, `type: "short" is no type of a value`},
		{`type = "int16"`, ``, `type: "" is no type of a value`},
		{`unit_from = "2" `, ``, `unit_code: unit_from says where the device shows it`},
		{`unit_code = 1 `, `unit_code = 70000 `, `unit_code: 70000 does not fit into a register`},
		{`decimals_from = "3"`, `decimals = 12`, `decimals: 12 must be 0 to 9`},
		{`unit = "kPa"`, `unit = "C"`, `unit: "C" is no unit of chamber pressure`},
		{`reference = "gauge"`, ``, `reference: say what the pressure is measured from`},
		{`function = 4`, `function = 6`, `function: 6 does not read registers`},
		{`function = 4`, `function = 260`, `function: 260 does not read registers`},
		{`word_order = "low-first"`, `word_order = "low"`, `word_order: "low" is no order`},
	} {
		expect(t, e, good, "bench.toml", func(data []byte) error { _, err := ParseBench("bench.toml", data); return err })
	}
}
