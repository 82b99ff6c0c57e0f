package textline

import (
	"errors"
	"strings"
	"testing"

	"proofpot/sensors"
	"proofpot/sensors/scale"
)

func TestAWrongMappingNamesItsKeyAndWhatWouldBeRight(t *testing.T) {
	good := func() Config {
		return Config{Shape: KeyValue, Main: sensors.ChamberPressure, Fields: []Field{
			{From: "p", Quantity: sensors.ChamberPressure, Unit: "bar", Reference: scale.Gauge},
			{From: "t", Quantity: sensors.ChamberWater, Unit: "C"}}}
	}
	sound := good()
	if err := sound.Check(); err != nil {
		t.Fatalf("a right mapping: %v", err)
	}
	for _, c := range []struct {
		change func(c *Config)
		want   string
	}{
		{func(c *Config) { c.Shape = "xml" }, `line: "xml" is no shape of a line; use "key-value", "csv", "json", "pattern", "nmea-xdr" or "line-protocol"`},
		{func(c *Config) { c.Shape, c.DecimalComma = JSON, true }, `decimal_comma: a JSON number has a decimal point`},
		{func(c *Config) { c.Separator = ";" }, `separator: only csv lines`},
		{func(c *Config) { c.Shape, c.Separator = CSV, "|" }, `separator: "|" is no separator`},
		{func(c *Config) { c.Shape, c.Separator, c.DecimalComma = CSV, ",", true }, `separator: a comma cannot be both`},
		{func(c *Config) { c.Shape, c.Sequence = CSV, "n" }, `sequence: "n" is no column`},
		{func(c *Config) { c.Fields = nil }, `field: no field says`},
		{func(c *Config) { c.Fields[1].From = "" }, `field[1].from: say where`},
		{func(c *Config) { c.Fields[1].From = "a b" }, `field[1].from: a key cannot hold`},
		{func(c *Config) { c.Shape = CSV; c.Fields[0].From = "0" }, `field[0].from: "0" is no column`},
		{func(c *Config) { c.Fields[1].Quantity = c.Fields[0].Quantity }, `field[1].measures: chamber pressure is measured by field 1`},
		{func(c *Config) { c.Fields[0].Unit = "atm" }, `field[0].unit: "atm" is no unit of chamber pressure; use "Pa", "hPa", "mbar", "kPa", "bar", "MPa" or "psi"`},
		{func(c *Config) { c.Fields[1].Unit = "°C" }, `field[1].unit: "°C" is no unit of chamber water temperature; use "C", "K" or "F"`},
		{func(c *Config) { c.Fields[1] = Field{From: "w", Quantity: sensors.ProbeWet, Unit: "V"} }, `field[1].unit: wet probe has no unit`},
		{func(c *Config) { c.Fields[0].Reference = "" }, `field[0].reference: say what the pressure is measured from: "absolute", "gauge" or "sealed-gauge"`},
		{func(c *Config) { c.Fields[0].Reference = "relative" }, `field[0].reference: "relative" is no reference`},
		{func(c *Config) { c.Fields[1].Reference = scale.Gauge }, `field[1].reference: only a pressure has`},
		{func(c *Config) {
			c.Fields[1] = Field{From: "b", Quantity: sensors.RoomPressure, Unit: "hPa", Reference: scale.Gauge}
		}, `field[1].reference: a barometer reads absolute`},
		{func(c *Config) { c.Fields[0].SealedPa = 101325 }, `field[0].sealed_pa: only a sealed-gauge`},
		{func(c *Config) { c.Fields[0].Reference, c.Fields[0].SealedPa = scale.SealedGauge, 1 }, `field[0].sealed_pa: 1 Pa is no pressure`},
		{func(c *Config) { c.Fields[0].Low = 3 }, `field[0].high: the range 3 to 0 is empty`},
		{func(c *Config) { c.Fields[0].Interval = -1 }, `field[0].interval_s: must be above 0`},
		{func(c *Config) { c.Main = sensors.ProbeWet }, `measures: no field of this sensor measures wet probe`},
	} {
		config := good()
		c.change(&config)
		err := config.Check()
		var wrong *ConfigError
		if !errors.As(err, &wrong) || !strings.HasPrefix(err.Error(), c.want) {
			t.Errorf("got %v, want %s", err, c.want)
		}
		if err != nil && strings.Contains(err.Error(), "\n") {
			t.Errorf("%v is more than one line", err)
		}
	}
}

func TestEveryQuantityHasAUnit(t *testing.T) {
	for _, name := range sensors.QuantityNames() {
		q, _ := sensors.QuantityNamed(name)
		if len(scale.UnitsOf(q)) == 0 {
			t.Errorf("%s has no unit", name)
		}
		if l := scale.Possible(q); !(l.Low < l.High) {
			t.Errorf("%s can be nothing", name)
		}
	}
}
