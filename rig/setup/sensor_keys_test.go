package setup

import (
	"maps"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"
)

func TestEachDriverHasItsKeysAndEachKeyADriver(t *testing.T) {
	if have, want := slices.Sorted(maps.Keys(driverKeys)), Drivers(); !slices.Equal(have, want) {
		t.Errorf("keys of %q, drivers %q", have, want)
	}
	for table, keys := range map[reflect.Type][][]string{
		reflect.TypeFor[Sensor](): append(slices.Collect(maps.Values(driverKeys)), commonKeys),
		reflect.TypeFor[Field]():  append(slices.Collect(maps.Values(fieldKeys)), commonFieldKeys),
	} {
		var named []string
		for i := range table.NumField() {
			name, _, _ := strings.Cut(table.Field(i).Tag.Get("toml"), ",")
			named = append(named, name)
		}
		all := slices.Concat(keys...)
		for _, name := range named {
			if !slices.Contains(all, name) {
				t.Errorf("no driver reads %q", name)
			}
		}
		for _, key := range all {
			if !slices.Contains(named, key) {
				t.Errorf("%q is no key of a %v", key, table)
			}
		}
	}
}

func TestAKeyThatTheDriverDoesNotReadIsRefused(t *testing.T) {
	for _, c := range []struct{ file, from, to, want string }{
		{"hand-serial.toml", `driver = "serial-line"`, "driver = \"serial-line\"\nbus = \"1\"", `bus: driver "serial-line" does not read it`},
		{"hand-modbus.toml", `driver = "modbus"`, "driver = \"modbus\"\nchecksum = true", `checksum: driver "modbus" does not read it`},
		{"hand-modbus.toml", `unit = "kPa"`, "unit = \"kPa\"\nshunt_ohm = 150", `shunt_ohm: driver "modbus" does not read it in a field`},
		{"hand-temperatures.toml", `driver = "ds18b20"`, "driver = \"ds18b20\"\naddress = 0x76", `address: driver "ds18b20" does not read it`},
	} {
		data, err := os.ReadFile("testdata/" + c.file)
		if err != nil {
			t.Fatal(err)
		}
		text := strings.Replace(string(data), c.from, c.to, 1)
		if _, err := ParseBench("bench.toml", []byte(text)); err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
}
