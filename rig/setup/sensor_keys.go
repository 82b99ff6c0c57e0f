package setup

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
)

// Keys of a sensor and of its fields by driver. A key that a driver does not read
// is refused: whoever wrote it believes that it does something.
var (
	serialKeys = []string{"port", "baud", "parity", "stop_bits"}
	lineKeys   = []string{"line", "pattern", "decimal_comma", "separator", "checksum", "sequence", "banner"}
	i2cKeys    = []string{"bus", "address", "mux", "channel"}

	commonKeys = []string{"id", "measures", "noise_pa", "accuracy_pa", "driver", "interval_s", "field", "calibration"}
	driverKeys = map[string][]string{
		DriverADS1115:    append([]string{"supply_input", "supply_low_v", "supply_high_v", "supply_divided_by"}, i2cKeys...),
		DriverDS18B20:    {"part", "bus"},
		DriverFileLine:   append([]string{"path"}, lineKeys...),
		DriverGPIOLine:   {"chip", "line", "active", "bias", "debounce_ms"},
		DriverModbus:     append([]string{"modbus_address", "timeout_s"}, serialKeys...),
		DriverSerialLine: slices.Concat(serialKeys, lineKeys),
		DriverTyped:      {"division"},
		DriverMAX31865:   {"spi", "r0_ohm", "reference_ohm", "wires", "mains_hz"},
		DriverMS583730BA: i2cKeys, DriverMS583702BA: i2cKeys, DriverMS580314BA: i2cKeys,
		DriverBME280: i2cKeys, DriverBMP280: i2cKeys, DriverSHT3x: i2cKeys, DriverSHT4x: i2cKeys,
	}

	commonFieldKeys = []string{"from", "measures", "unit", "reference", "sealed_pa", "low", "high", "interval_s"}
	fieldKeys       = map[string][]string{
		DriverADS1115: {"signal", "divided_by", "shunt_ohm", "series_ohm", "r25_ohm", "beta_k", "end_ohm", "steinhart_hart", "range_v"},
		DriverModbus:  {"function", "type", "word_order", "decimals", "decimals_from", "unit_from", "unit_code"},
	}
)

// checkKeys looks for keys that a sensor's driver does not read.
func (b *Bench) checkKeys() error {
	for i, s := range b.Sensors {
		own, known := driverKeys[s.Driver]
		if !known {
			continue // a simulated bench, or none
		}
		if stray := strayKey(s, commonKeys, own); stray != "" {
			return wrong(fmt.Sprintf("sensor[%d].%s", i, stray), "driver %q does not read it; leave it out, or is another driver meant? It reads %s", s.Driver, strings.Join(own, ", "))
		}
		for j, f := range s.Fields {
			if stray := strayKey(f, commonFieldKeys, fieldKeys[s.Driver]); stray != "" {
				return wrong(fmt.Sprintf("sensor[%d].field[%d].%s", i, j, stray), "driver %q does not read it in a field; leave it out, or is another driver meant?", s.Driver)
			}
		}
	}
	return nil
}

// strayKey is the first key of a table that has a value and is not among those
// allowed.
func strayKey(table any, allowed ...[]string) string {
	v := reflect.ValueOf(table)
	for i := range v.NumField() {
		name, _, _ := strings.Cut(v.Type().Field(i).Tag.Get("toml"), ",")
		if !v.Field(i).IsZero() && !slices.ContainsFunc(allowed, func(keys []string) bool { return slices.Contains(keys, name) }) {
			return name
		}
	}
	return ""
}
