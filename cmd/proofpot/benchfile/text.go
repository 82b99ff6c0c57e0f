package benchfile

import (
	"fmt"
	"strings"
)

// pascals of a unit of pressure.
var pascals = map[string]float64{"Pa": 1, "hPa": 100, "mbar": 100, "kPa": 1e3, "bar": 1e5, "MPa": 1e6, "psi": 6894.757293168}

// Text is the bench file. NoisePa is the standard deviation of a reading at
// rest; 0: not measured.
func Text(a Answers, noisePa float64) []byte {
	t := &text{a: a}
	t.b.WriteString(`# A bench, written by proofpot setup from what was answered there. Change it by
# hand as you like: proofpot doctor says what is wrong with it. The rating and the
# relief setting are those stamped on chamber and valve.

`)
	t.chamber()
	if a["operated"] == "valves" {
		t.valves()
	}
	t.transducer(noisePa)
	t.parts()
	t.contact("stop_line", "stop", "emergency stop")
	t.contact("lid_line", "lid", "lid switch")
	return []byte(t.b.String())
}

// text is a bench file on the way.
type text struct {
	a Answers
	b strings.Builder
}

// line writes a line with what it says.
func (t *text) line(text, why string) {
	if why != "" {
		text = fmt.Sprintf("%-36s # %s", text, why)
	}
	t.b.WriteString(text + "\n")
}

func (t *text) chamber() {
	a := t.a
	t.line(fmt.Sprintf("id = %q", a["id"]), "")
	if a["operated"] == "hand" {
		t.line("hand_operated = true", "no valves: the tool says what to open, and watches")
	}
	if a["attended"] == "yes" {
		t.line("attended = true", "no watchdog relay: somebody stays at the supply's cock for the whole run")
	}
	medium, supply := a["medium"], a["supply"]
	if medium == "gas" {
		supply = "gas"
	}
	t.line(fmt.Sprintf("medium = %q", medium), map[string]string{"water": "water with a gas cushion", "gas": "gas alone"}[medium])
	t.line(fmt.Sprintf("supply = %q", supply), "what is let in")
	t.line("chamber_volume_ml = "+a["chamber_volume_ml"], "empty")
	if medium == "water" {
		t.line("gas_cushion_ml = "+a["gas_cushion_ml"], "above the water, at the room's pressure")
		t.line("stiffness_ml_per_bar = 1.5", "of chamber and water; a guess until proofpot stiffness has measured it")
	}
	if a.has("lid_diameter_mm") {
		t.line("lid_diameter_mm = "+a["lid_diameter_mm"], "inner: the pressure on it is what lifts it off")
	}
	t.line("rated_bar_gauge = "+decimal(a["rated_bar_gauge"]), "as stamped")
	t.line("relief_bar_gauge = "+decimal(a["relief_bar_gauge"]), "where the relief valve opens")
	if a.has("room_hpa") {
		t.line(fmt.Sprintf("room_pa = %g", a.number("room_hpa")*100), "Pa absolute, by the barometer on the day of the setup")
	}
}

func (t *text) valves() {
	a := t.a
	t.b.WriteString("\n# Without power the fill is shut and the vent stands open.\n")
	for _, v := range []struct{ id, rest, open, shut, isOpen, isShut string }{
		{"fill", "shut", "fill_on", "fill_off", "fill_is_on", "fill_is_off"},
		{"vent", "open", "vent_off", "vent_on", "vent_is_off", "vent_is_on"}, // its coil shuts it
	} {
		if v.id == "vent" {
			t.b.WriteString("\n")
		}
		fmt.Fprintf(&t.b, "[[valve]]\nid = %q\n", v.id)
		if a["valves_on"] == "gpio" {
			fmt.Fprintf(&t.b, "driver = \"gpio-line\"\nrest = %q\n", v.rest)
			t.gpio(v.id + "_line")
			fmt.Fprintf(&t.b, "active = %q\n", a["active"])
			continue
		}
		fmt.Fprintf(&t.b, "driver = \"serial-relay\"\nrest = %q\nport = %q\nbaud = %s\n", v.rest, a["relay_port"], a["relay_baud"])
		t.line(`open_text = "`+a[v.open]+`"`, map[string]string{"fill": "pulls the relay in", "vent": "lets the relay go: its coil shuts this valve"}[v.id])
		t.line(`shut_text = "`+a[v.shut]+`"`, "")
		if v.id == "fill" && a.has("relay_pulse") {
			t.line(`pulse_text = "`+a["relay_pulse"]+`"`, "the board itself ends each opening, though the program dies")
		}
		if a.has("relay_answer") {
			t.line(`answer = "`+a["relay_answer"]+`"`, "what each command is answered with")
		}
		if ask := v.id + "_ask"; a.has(ask) {
			t.line(`ask_text = "`+a[ask]+`"`, "where the relay stands")
			t.line(`open_answer = "`+a[v.isOpen]+`"`, "")
			t.line(`shut_answer = "`+a[v.isShut]+`"`, "")
		}
	}
	if a.has("heartbeat_line") {
		t.b.WriteString("\n# The watchdog relay takes the valves' power when this line stops changing.\n[heartbeat]\n")
		t.gpio("heartbeat_line")
	}
	if a.has("regulator_address") {
		fmt.Fprintf(&t.b, "\n# The regulator before the fill valve follows a voltage.\n[regulator]\ndriver = \"mcp4725\"\nbus = %q\naddress = %s\n", a["regulator_bus"], a["regulator_address"])
		t.line("full_scale_v = "+decimal(a["regulator_full_v"]), "at full code, measured")
		t.line("low_v = 0.0", "")
		t.line("high_v = "+decimal(a["regulator_high_v"]), "")
		t.line("low_bar_gauge = 0.0", "at low_v")
		t.line("high_bar_gauge = "+decimal(a["regulator_high_bar_gauge"]), "at high_v")
	}
}

// transducer writes the sensor of the chamber's pressure. NoisePa is 0 where it
// was not measured.
func (t *text) transducer(noisePa float64) {
	a := t.a
	t.b.WriteString("\n[[sensor]]\nid = \"p1\"\nmeasures = \"chamber pressure\"\n")
	switch {
	case noisePa > 0:
		t.line(fmt.Sprintf("noise_pa = %.3g", noisePa), "standard deviation of a reading, measured at open vent")
	default:
		t.line("noise_pa = 100", "standard deviation of a reading: a guess, not measured yet")
	}
	t.line(fmt.Sprintf("accuracy_pa = %.4g", a.number("accuracy_pct")/100*a.rangePa()), fmt.Sprintf("%s %% of %.4g bar", a["accuracy_pct"], a.rangePa()/1e5))
	if a["transducer"] == "i2c" {
		t.place("part", a["part"])
		t.line("interval_s = 0.5", "five without a value are a fault")
		t.field("pressure", "chamber pressure")
		if a["part_in_chamber"] == "yes" {
			t.field("temperature", "chamber "+a["medium"]+" temperature")
		}
		return
	}
	t.b.WriteString("driver = \"serial-line\"\n")
	t.line(fmt.Sprintf("port = %q", a["port"]), "a name below /dev/serial/by-id stays with the device")
	t.line("baud = "+a["baud"], "")
	t.line(fmt.Sprintf("line = %q", a["line"]), "")
	if a["decimal_comma"] == "yes" {
		t.line("decimal_comma = true", "")
	}
	t.line("interval_s = 0.5", "longest time between two lines; five without a value are a fault")
	t.b.WriteString("\n[[sensor.field]]\n")
	t.line(fmt.Sprintf("from = %q", a["from"]), "")
	t.line(fmt.Sprintf("unit = %q", a["unit"]), "")
	t.line(fmt.Sprintf("reference = %q", a["reference"]), "")
	low := "0.0"
	if a["reference"] == "gauge" {
		low = fmt.Sprintf("%.4g", -0.03*a.number("high"))
	}
	t.line("low = "+decimal(low), "what the transducer can show, with its zero error")
	t.line("high = "+decimal(a["high"]), "")
	if a.has("water_from") {
		t.b.WriteString("\n[[sensor.field]]\n")
		t.line(fmt.Sprintf("from = %q", a["water_from"]), "")
		t.line(fmt.Sprintf("measures = \"chamber %s temperature\"", a["medium"]), "")
		t.line(fmt.Sprintf("unit = %q", a["water_unit"]), "")
	}
}

// place writes driver and place of a part on an I2C bus.
func (t *text) place(of, part string) {
	a := t.a
	fmt.Fprintf(&t.b, "driver = %q\n", part)
	t.line(fmt.Sprintf("bus = %q", a[of+"_bus"]), "of /dev/i2c-N")
	t.line("address = "+a[of+"_address"], "")
	if a.has(of + "_mux") {
		t.line("mux = "+a[of+"_mux"], "behind a TCA9548A")
		t.line("channel = "+a[of+"_channel"], "of that")
	}
}

func (t *text) field(from, measures string) {
	fmt.Fprintf(&t.b, "\n[[sensor.field]]\nfrom = %q\nmeasures = %q\n", from, measures)
}

// parts writes the sensors beside the transducer.
func (t *text) parts() {
	a := t.a
	if a.has("room_part") {
		t.b.WriteString("\n# The room. With a barometer no room_pa is needed.\n[[sensor]]\nid = \"room\"\nmeasures = \"room pressure\"\n")
		t.place("room", a["room_part"])
		t.line("interval_s = 5", "")
		t.field("pressure", "room pressure")
		t.field("temperature", "room temperature")
	}
	if part := a["inside_part"]; a.has("inside_part") {
		t.b.WriteString("\n# The air inside the unit.\n[[sensor]]\nid = \"inside\"\nmeasures = \"inside humidity\"\n")
		t.place("inside", part)
		t.field("humidity", "inside humidity")
		t.field("temperature", "inside temperature")
		if part == "bme280" {
			t.field("pressure", "inside pressure")
		}
	}
	for _, th := range []struct{ key, id, measures string }{
		{"chamber_ds18b20", a["medium"], "chamber " + a["medium"] + " temperature"}, {"wall_ds18b20", "wall", "chamber wall temperature"},
	} {
		if a.has(th.key) {
			fmt.Fprintf(&t.b, "\n[[sensor]]\nid = %q\nmeasures = %q\ndriver = \"ds18b20\"\n", th.id, th.measures)
			t.line(fmt.Sprintf("part = %q", a[th.key]), "its name below /sys/bus/w1/devices")
			t.line("interval_s = 2", "")
		}
	}
}

func (t *text) gpio(key string) {
	fmt.Fprintf(&t.b, "chip = %q\nline = %q\n", t.a["chip"], t.a[key])
}

func (t *text) contact(key, id, measures string) {
	if t.a.has(key) {
		fmt.Fprintf(&t.b, "\n[[sensor]]\nid = %q\nmeasures = %q\ndriver = \"gpio-line\"\n", id, measures)
		t.gpio(key)
		fmt.Fprintf(&t.b, "active = \"high\"\nbias = \"pull-up\"   # a cut wire counts as %s\n", map[string]string{"stop": "pressed", "lid": "open"}[id])
	}
}

// decimal writes a number as TOML's float.
func decimal(text string) string {
	if strings.ContainsAny(text, ".e") {
		return text
	}
	return text + ".0"
}
