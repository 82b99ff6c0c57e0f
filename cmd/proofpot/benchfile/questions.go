package benchfile

import (
	"fmt"
	"strings"
)

func is(key, word string) func(Answers) bool {
	return func(a Answers) bool { return a[key] == word }
}

func isNot(key, word string) func(Answers) bool {
	return func(a Answers) bool { return a[key] != word }
}

func given(key string) func(Answers) bool {
	return func(a Answers) bool { return a[key] != "" && a[key] != "-" }
}

func missing(key string) func(Answers) bool {
	there := given(key)
	return func(a Answers) bool { return !there(a) }
}

func all(of ...func(Answers) bool) func(Answers) bool {
	return func(a Answers) bool {
		for _, f := range of {
			if !f(a) {
				return false
			}
		}
		return true
	}
}

// partBar is the full scale of a pressure part on an I2C bus, bar absolute: it
// stands in the parts' names and on the first page of their data sheets.
var partBar = map[string]float64{"ms5837-30ba": 30, "ms5837-02ba": 2, "ms5803-14ba": 14}

var (
	valves = is("operated", "valves")
	onGPIO = all(valves, is("valves_on", "gpio"))
	onPort = all(valves, is("valves_on", "serial"))
	serial = isNot("transducer", "i2c")
	onI2C  = is("transducer", "i2c")
	chip   = all(valves, given("chip"))
)

// Questions are asked in this order.
var Questions = joined(
	chamber, i2cLook, transducer,
	[]Question{
		{Key: "room_part", Text: "Part that reads the room's pressure, a barometer", Default: "-", Maybe: true, One: []string{"bme280", "bmp280"}, Asked: is("i2c", "yes")},
	}, place("room", "0x77", "0x76", "0x77"),
	[]Question{
		{Key: "inside_part", Text: "Part inside the unit: temperature and humidity, and with a bme280 the pressure", Default: "-", Maybe: true, One: []string{"bme280", "sht3x", "sht4x"}, Asked: is("i2c", "yes")},
	}, place("inside", "0x44", "0x44", "0x45", "0x46", "0x76", "0x77"),
	thermometers, driven,
)

func joined(of ...[]Question) (all []Question) {
	for _, qs := range of {
		all = append(all, qs...)
	}
	return all
}

// chamber is what the pot is.
var chamber = []Question{
	{Key: "id", Text: "A short name for this bench", Default: "pot-1"},
	{Key: "operated", Text: "Is the pressure made by a person at a hand pump, or by valves?", Default: "hand", One: []string{"hand", "valves"}},
	{Key: "medium", Text: "What fills the chamber: water with a little gas above it, or gas alone?\n  Water stores far less energy; gas alone is for small, low chambers", Default: "water", One: []string{"water", "gas"}},
	{Key: "supply", Text: "What is let in to raise the pressure?", Default: "water", One: []string{"water", "gas"}, Asked: is("medium", "water")},
	{Key: "chamber_volume_ml", Text: "Volume of the empty chamber (fill it from a measuring jug)", Unit: "ml", Low: 50, High: 1e6},
	{Key: "gas_cushion_ml", Text: "Gas left above the water, at the room's pressure", Unit: "ml", Low: 1, High: 1e6, Asked: is("medium", "water")},
	{Key: "lid_diameter_mm", Text: "Inner diameter of the lid", Default: "-", Unit: "mm", Low: 10, High: 3000, Maybe: true},
	{Key: "rated_bar_gauge", Text: "Rating STAMPED ON THE CHAMBER. One without a stamped rating is not to be used", Unit: "bar gauge", Low: 0.1, High: 1000},
	{Key: "relief_bar_gauge", Text: "Pressure at which the relief valve opens; at or below the rating. One without a relief valve is not to be used", Unit: "bar gauge", Low: 0.05, High: 1000},
}

var i2cLook = []Question{
	{Key: "i2c", Text: "Are there sensors on an I2C bus of this computer? Parts that can tell are asked who they are", Default: "no", One: []string{"yes", "no"}},
	{Key: "transducer", Text: "Is the chamber's pressure read from a device that prints lines on a serial port, or from a part on the I2C bus?", Default: "serial", One: []string{"serial", "i2c"}, Asked: is("i2c", "yes")},
}

// transducer is how the chamber's pressure is read.
var transducer = joined([]Question{
	{Key: "port", Text: "Serial port of the pressure transducer", Asked: serial},
	{Key: "baud", Text: "Its speed", Default: "115200", Unit: "baud", Whole: true, Low: 50, High: 4e6, Asked: serial},
	{Key: "line", Text: "Shape of its lines: p_bar=3.2 is key-value, 3.2;18.4 is csv, {\"p\":3.2} is json", Default: "key-value", One: []string{"key-value", "csv", "json"}, Asked: serial},
	{Key: "decimal_comma", Text: "Are decimals written with a comma?", Default: "no", One: []string{"yes", "no"}, Asked: is("line", "csv")},
	{Key: "from", Text: "Where the pressure stands in the line: the key (p_bar), the column from 1, or the JSON path (pot.kpa)", Asked: serial},
	{Key: "unit", Text: "Its unit", Default: "bar", One: []string{"Pa", "hPa", "mbar", "kPa", "bar", "MPa", "psi"}, Asked: serial},
	{Key: "reference", Text: "At open vent, does it show about 0 (gauge) or about 1 bar (absolute)?", One: []string{"absolute", "gauge"}, Asked: serial},
	{Key: "part", Text: "The part: the number at the end of its name is its range in bar, and a wrong one reads wrong pressures", One: []string{"ms5837-30ba", "ms5837-02ba", "ms5803-14ba"}, Asked: onI2C},
}, place("part", "0x76", "0x76", "0x77"), []Question{
	{Key: "room_hpa", Text: "The barometer today, where you are (not reduced to sea level)", Default: "-", Unit: "hPa", Low: 500, High: 1100, Maybe: true},
	{Key: "high", Text: "The most that the transducer can show", Low: 0, High: 1e9, Unit: "in its unit", Asked: serial},
	{Key: "accuracy_pct", Text: "Its accuracy as a share of its range, from its data sheet", Default: "1", Unit: "%", Low: 0.001, High: 20},
	{Key: "water_from", Text: "Where the temperature in the chamber stands in the same line", Default: "-", Maybe: true, Asked: serial},
	{Key: "water_unit", Text: "Its unit", Default: "C", One: []string{"C", "K", "F"}, Asked: all(serial, given("water_from"))},
	{Key: "part_in_chamber", Text: "Does the part sit in the chamber, so that its own temperature is that in there?", Default: "yes", One: []string{"yes", "no"}, Asked: onI2C},
})

// place is where a part on an I2C bus is.
func place(of, usual string, addresses ...string) []Question {
	asked := given(of + "_part")
	if of == "part" {
		asked = onI2C
	}
	return []Question{
		{Key: of + "_bus", Text: "Its bus, N of /dev/i2c-N", Default: "1", Unit: "as a whole number", Whole: true, High: 255, Asked: asked},
		{Key: of + "_address", Text: "Its address", Default: usual, One: addresses, Asked: asked},
		{Key: of + "_mux", Text: "Address of the multiplexer (TCA9548A) that it is behind", Default: "-", Maybe: true, One: hex(0x70, 0x77), Asked: asked},
		{Key: of + "_channel", Text: "Channel of that", Unit: "as a whole number", Whole: true, High: 7, Asked: all(asked, given(of+"_mux"))},
	}
}

// hex lists addresses as they are written.
func hex(from, to int) (all []string) {
	for a := from; a <= to; a++ {
		all = append(all, fmt.Sprintf("0x%02x", a))
	}
	return all
}

var thermometers = []Question{
	{Key: "chamber_ds18b20", Text: "Thermometer DS18B20 in the chamber, on the 1-wire bus: its number, 28-0316a2795cff say", Default: "-", Maybe: true,
		Asked: func(a Answers) bool { return !a.has("water_from") && a["part_in_chamber"] != "yes" }},
	{Key: "wall_ds18b20", Text: "Another one on the chamber's wall", Default: "-", Maybe: true},
}

// driven is what moves the valves, and what watches over them.
var driven = []Question{
	{Key: "valves_on", Text: "Do the valves' relays hang on GPIO lines, or on a board at a serial port that obeys text?", Default: "gpio", One: []string{"gpio", "serial"}, Asked: valves},
	{Key: "chip", Text: "GPIO chip that relays, stop and lid switch hang on (- with a relay board at a serial port and neither stop nor switch)", Default: "gpiochip0", Maybe: true, Asked: valves},
	{Key: "fill_line", Text: "Line of the fill valve, which is NORMALLY CLOSED", Asked: onGPIO},
	{Key: "vent_line", Text: "Line of the vent valve, which is NORMALLY OPEN", Asked: onGPIO},
	{Key: "active", Text: "Level at which a relay pulls in", Default: "low", One: []string{"low", "high"}, Asked: onGPIO},
	{Key: "relay_port", Text: "Serial port of the relay board", Asked: onPort},
	{Key: "relay_baud", Text: "Its speed", Default: "9600", Unit: "baud", Whole: true, Low: 50, High: 4e6, Asked: onPort},
	{Key: "fill_on", Text: "What makes it pull in the relay of the FILL valve, which is NORMALLY CLOSED (\\r\\n ends most commands)", Bytes: true, Asked: onPort},
	{Key: "fill_off", Text: "What makes it let that go", Bytes: true, Asked: onPort},
	{Key: "vent_on", Text: "What makes it pull in the relay of the VENT valve, which is NORMALLY OPEN", Bytes: true, Asked: onPort},
	{Key: "vent_off", Text: "What makes it let that go", Bytes: true, Asked: onPort},
	{Key: "relay_answer", Text: "What it answers to each of them", Default: "-", Maybe: true, Bytes: true, Asked: onPort},
	{Key: "fill_ask", Text: "What asks it how the fill valve's relay stands", Default: "-", Maybe: true, Bytes: true, Asked: onPort},
	{Key: "fill_is_on", Text: "What it answers when that is pulled in", Bytes: true, Asked: all(onPort, given("fill_ask"))},
	{Key: "fill_is_off", Text: "What it answers when it is not", Bytes: true, Asked: all(onPort, given("fill_ask"))},
	{Key: "vent_ask", Text: "What asks it how the vent valve's relay stands", Default: "-", Maybe: true, Bytes: true, Asked: onPort},
	{Key: "vent_is_on", Text: "What it answers when that is pulled in", Bytes: true, Asked: all(onPort, given("vent_ask"))},
	{Key: "vent_is_off", Text: "What it answers when it is not", Bytes: true, Asked: all(onPort, given("vent_ask"))},
	{Key: "regulator_address", Text: "A pressure regulator before the fill valve, set by a converter MCP4725 on an I2C bus: its address", Default: "-", Maybe: true, One: hex(0x60, 0x67),
		Asked: all(valves, isNot("supply", "water"))},
	{Key: "regulator_bus", Text: "Its bus, N of /dev/i2c-N", Default: "1", Unit: "as a whole number", Whole: true, High: 255, Asked: all(valves, given("regulator_address"))},
	{Key: "regulator_full_v", Text: "Voltage at the regulator at the converter's full code, measured", Unit: "V", Low: 0.1, High: 24, Asked: all(valves, given("regulator_address"))},
	{Key: "regulator_high_v", Text: "Voltage at which the regulator gives its highest pressure (0 V gives none)", Default: "10", Unit: "V", Low: 0.1, High: 24, Asked: all(valves, given("regulator_address"))},
	{Key: "regulator_high_bar_gauge", Text: "That pressure", Unit: "bar gauge", Low: 0.1, High: 1000, Asked: all(valves, given("regulator_address"))},
	{Key: "heartbeat_line", Text: "Line of the watchdog relay, which cuts the valves' power when the program hangs", Default: "-", Maybe: true, Asked: chip},
	{Key: "relay_pulse", Text: "No watchdog relay: what makes the board pull in the FILL relay for {ms} milliseconds and let it go by itself (PULSE 1 {ms}\\r\\n, say)", Default: "-", Maybe: true, Bytes: true,
		Asked: all(onPort, missing("heartbeat_line"))},
	{Key: "attended", Text: "Then nothing shuts a fill that stands open when the program dies: will somebody stay at the supply's cock for the whole of each run (without one no run begins)", Default: "no", One: []string{"yes", "no"},
		Asked: all(valves, missing("heartbeat_line"), missing("relay_pulse"))},
	{Key: "stop_line", Text: "Line of the emergency stop's contact, high when pressed", Default: "-", Maybe: true, Asked: chip},
	{Key: "lid_line", Text: "Line of the lid switch, high when the lid is open", Default: "-", Maybe: true, Asked: chip},
}

// partAddresses are those of the parts, from their data sheets.
var partAddresses = map[string][]string{
	"ms5837-30ba": {"0x76"}, "ms5837-02ba": {"0x76"}, "ms5803-14ba": {"0x76", "0x77"},
	"bme280": {"0x76", "0x77"}, "bmp280": {"0x76", "0x77"}, "sht3x": {"0x44", "0x45"}, "sht4x": {"0x44", "0x45", "0x46"},
}

// partOf is the part that a question about a place belongs to.
func (a Answers) partOf(key string) string {
	of, _, _ := strings.Cut(key, "_")
	if of == "part" {
		return a["part"]
	}
	return a[of+"_part"]
}
