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
	var b strings.Builder
	line := func(text, why string) {
		if why != "" {
			text = fmt.Sprintf("%-36s # %s", text, why)
		}
		b.WriteString(text + "\n")
	}
	b.WriteString(`# A bench, written by proofpot setup from what was answered there. Change it by
# hand as you like: proofpot doctor says what is wrong with it. The rating and the
# relief setting are those stamped on chamber and valve.

`)
	line(fmt.Sprintf("id = %q", a["id"]), "")
	hand := a["operated"] == "hand"
	if hand {
		line("hand_operated = true", "no valves: the tool says what to open, and watches")
	}
	medium, supply := a["medium"], a["supply"]
	if medium == "gas" {
		supply = "gas"
	}
	line(fmt.Sprintf("medium = %q", medium), map[string]string{"water": "water with a gas cushion", "gas": "gas alone"}[medium])
	line(fmt.Sprintf("supply = %q", supply), "what is let in")
	line("chamber_volume_ml = "+a["chamber_volume_ml"], "empty")
	if medium == "water" {
		line("gas_cushion_ml = "+a["gas_cushion_ml"], "above the water, at the room's pressure")
		line("stiffness_ml_per_bar = 1.5", "of chamber and water; a guess until proofpot stiffness has measured it")
	}
	if a.has("lid_diameter_mm") {
		line("lid_diameter_mm = "+a["lid_diameter_mm"], "inner: the pressure on it is what lifts it off")
	}
	line("rated_bar_gauge = "+decimal(a["rated_bar_gauge"]), "as stamped")
	line("relief_bar_gauge = "+decimal(a["relief_bar_gauge"]), "where the relief valve opens")
	if a.has("room_hpa") {
		line(fmt.Sprintf("room_pa = %g", a.number("room_hpa")*100), "Pa absolute, by the barometer on the day of the setup")
	}
	if !hand {
		b.WriteString(`
# Without power the fill is shut and the vent stands open.
[[valve]]
id = "fill"
driver = "gpio-line"
rest = "shut"
`)
		gpio(&b, a, "fill_line", true)
		b.WriteString("\n[[valve]]\nid = \"vent\"\ndriver = \"gpio-line\"\nrest = \"open\"\n")
		gpio(&b, a, "vent_line", true)
		if a.has("heartbeat_line") {
			b.WriteString("\n# The watchdog relay takes the valves' power when this line stops changing.\n[heartbeat]\n")
			gpio(&b, a, "heartbeat_line", false)
		}
	}
	b.WriteString("\n[[sensor]]\nid = \"p1\"\nmeasures = \"chamber pressure\"\n")
	switch {
	case noisePa > 0:
		line(fmt.Sprintf("noise_pa = %.3g", noisePa), "standard deviation of a reading, measured at open vent")
	default:
		line("noise_pa = 100", "standard deviation of a reading: a guess, not measured yet")
	}
	line(fmt.Sprintf("accuracy_pa = %.4g", a.number("accuracy_pct")/100*a.number("high")*pascals[a["unit"]]),
		fmt.Sprintf("%s %% of %s %s", a["accuracy_pct"], a["high"], a["unit"]))
	b.WriteString("driver = \"serial-line\"\n")
	line(fmt.Sprintf("port = %q", a["port"]), "a name below /dev/serial/by-id stays with the device")
	line("baud = "+a["baud"], "")
	line(fmt.Sprintf("line = %q", a["line"]), "")
	if a["decimal_comma"] == "yes" {
		line("decimal_comma = true", "")
	}
	line("interval_s = 0.5", "longest time between two lines; five without a value are a fault")
	b.WriteString("\n[[sensor.field]]\n")
	line(fmt.Sprintf("from = %q", a["from"]), "")
	line(fmt.Sprintf("unit = %q", a["unit"]), "")
	line(fmt.Sprintf("reference = %q", a["reference"]), "")
	low := "0.0"
	if a["reference"] == "gauge" {
		low = fmt.Sprintf("%.4g", -0.03*a.number("high"))
	}
	line("low = "+decimal(low), "what the transducer can show, with its zero error")
	line("high = "+decimal(a["high"]), "")
	if a.has("water_from") {
		b.WriteString("\n[[sensor.field]]\n")
		line(fmt.Sprintf("from = %q", a["water_from"]), "")
		line(fmt.Sprintf("measures = \"chamber %s temperature\"", medium), "")
		line(fmt.Sprintf("unit = %q", a["water_unit"]), "")
	}
	contact(&b, a, "stop_line", "stop", "emergency stop")
	contact(&b, a, "lid_line", "lid", "lid switch")
	return []byte(b.String())
}

func gpio(b *strings.Builder, a Answers, key string, relay bool) {
	fmt.Fprintf(b, "chip = %q\nline = %q\n", a["chip"], a[key])
	if relay {
		fmt.Fprintf(b, "active = %q\n", a["active"])
	}
}

func contact(b *strings.Builder, a Answers, key, id, measures string) {
	if a.has(key) {
		fmt.Fprintf(b, "\n[[sensor]]\nid = %q\nmeasures = %q\ndriver = \"gpio-line\"\nchip = %q\nline = %q\nactive = \"high\"\nbias = \"pull-up\"   # a cut wire counts as %s\n",
			id, measures, a["chip"], a[key], map[string]string{"stop": "pressed", "lid": "open"}[id])
	}
}

// decimal writes a number as TOML's float.
func decimal(text string) string {
	if strings.ContainsAny(text, ".e") {
		return text
	}
	return text + ".0"
}
