package setup

import (
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"
)

func example(t *testing.T, name string) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

func TestTheBenchesWithValvesAreReadAndComeBackFromTheSheetOfARun(t *testing.T) {
	for _, name := range []string{"valves-gpio.toml", "valves-serial.toml"} {
		b, err := ParseBench(name, []byte(example(t, name)))
		if err != nil {
			t.Fatal(err)
		}
		fill, ok := b.Valve(FillValve)
		if vent, both := b.Valve(VentValve); !ok || !both || fill.Rest != RestShut || vent.Rest != RestOpen {
			t.Errorf("%s: %+v", name, b.Valves)
		}
		data, err := EncodeRun(Run{Format: 1, Bench: b})
		if err != nil {
			t.Fatal(err)
		}
		back, warnings, err := ParseRun("run.toml", data)
		if err != nil || len(warnings) > 0 || !reflect.DeepEqual(back.Bench, b) {
			t.Errorf("%s comes back as %+v, %v, %v", name, back.Bench, warnings, err)
		}
	}
	b, _ := ParseBench("b", []byte(example(t, "valves-gpio.toml")))
	if fill, _ := b.Valve(FillValve); fill.MinOn() != 40*time.Millisecond || fill.Active != ActiveLow || b.Heartbeat.Line != "GPIO22" || b.Watchdog.Device != "/dev/watchdog" {
		t.Errorf("%+v", b)
	}
}

func TestValvesThatMakeALossOfPowerUnsafeAreRefused(t *testing.T) {
	gpio := example(t, "valves-gpio.toml")
	for _, e := range []edit{
		{`rest = "shut" `, `rest = "open" `, `the fill valve must be normally closed (rest = "shut")`},
		{`rest = "shut" `, `#`, `rest: "" is none of "shut", "open"`},
		{`rest = "open" `, `rest = "shut" `, `the vent must be normally open (rest = "open"), so that losing power vents`},
		{`on_power_loss = "vent"`, `on_power_loss = "hold"`, `this vent opens without power, and on_power_loss says "hold"`},
		{`on_power_loss = "vent"`, `on_power_loss = "shut"`, `on_power_loss: "shut" is none of "vent", "hold"`},
		{`medium = "water"`, "medium = \"gas\"\n#", `gas_cushion_ml: a chamber that holds gas alone`},
		{`id = "pot-2"`, "id = \"pot-2\"\nhand_operated = true", `a bench with valves is driven, not operated by hand`},
		{`id = "vent"`, `id = "fill"`, `two valves are called "fill"`},
		{`id = "vent"`, `id = "drain"`, `"drain" is none of "fill", "vent"`},
		{`"GPIO27"`, `"GPIO17"`, `fill has that line`},
		{`"GPIO22"`, `"GPIO17"`, `fill has that line`},
		{`"GPIO22"`, `""`, `the heartbeat needs chip and line`},
		{`line = "GPIO17" `, `#`, `no line; its name such as`},
		{`active = "low" `, `#`, `active: "" is none of "high", "low"`},
		{`min_on_ms = 40`, `min_on_ms = -1`, `min_on_ms: -1 must be 0 to 1000 ms`},
		{`"/dev/watchdog"`, `" "`, `device: no device`},
		{`driver = "gpio-line"`, `driver = "gpio"`, `is "gpio-line" meant?`},
	} {
		expect(t, e, gpio, "bench.toml", func(data []byte) error { _, err := ParseBench("bench.toml", data); return err })
	}
	text := strings.NewReplacer(`on_power_loss = "vent"`, `on_power_loss = "hold"`, `rest = "open" `, `rest = "shut" `).Replace(gpio)
	if _, err := ParseBench("bench.toml", []byte(text)); err != nil {
		t.Errorf("a pot full of water that holds is refused: %v", err)
	}
}

func TestAWrongSerialRelayOrRegulatorGivesOneLineWithItsPlace(t *testing.T) {
	serial := example(t, "valves-serial.toml")
	for _, e := range []edit{
		{`open_text = "SET 2 OFF\r\n"`, `open_text = "SET 1 OFF\r\n"`, `both valves of the port obey the same command`},
		{`shut_text = "SET 1 OFF\r\n"`, `shut_text = "SET 1 ON\r\n"`, `the same as open_text`},
		{`shut_text = "SET 1 OFF\r\n"`, ``, `the command that the relay obeys`},
		{`"PULSE 1 {ms}\r\n"`, `"PULSE 1 1000\r\n"`, `pulse_text: no {ms}, which stands for the milliseconds`},
		{`shut_text = "SET 2 ON\r\n"`, `shut_text = "SET 2 ON\r\n"` + "\n" + `pulse_text = "PULSE 2 {ms}\r\n"`, `it is for the fill valve`},
		{`open_answer = "1 ON"`, ``, `ask_text needs open_answer and shut_answer`},
		{`ask_text = "GET 1\r\n"`, `#`, `answers to ask_text, which is missing`},
		{`baud = 9600`, `baud = 9601`, `9601 is no usual rate`},
		{`port = "/dev/serial/by-id/usb-relays"`, ``, `no serial port`},
		{`address = 0x60`, `address = 0x59`, `0x59 is no address of that part`},
		{`high_v = 10.0`, `high_v = 11.0`, `must rise from 0 to full_scale_v (10.2)`},
		{`high_bar_gauge = 8.0`, `high_bar_gauge = 0.0`, `must rise from 0 or more`},
		{`driver = "mcp4725"`, `driver = "mcp4728"`, `is "mcp4725" meant?`},
	} {
		expect(t, e, serial, "bench.toml", func(data []byte) error { _, err := ParseBench("bench.toml", data); return err })
	}
}
