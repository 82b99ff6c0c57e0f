package setup

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"proofpot/sensors/serialport"
)

// The valves of a bench, and where each rests without power.
const (
	FillValve = "fill"
	VentValve = "vent"

	RestShut = "shut"
	RestOpen = "open"

	PowerLossVent = "vent" // the chamber is vented when the power fails
	PowerLossHold = "hold" // it keeps its pressure: a full pot, whose water stores little
)

// DriverSerialRelay is the driver of a relay board that obeys text commands.
// DriverGPIOLine drives a valve as well: a relay on a digital line.
const DriverSerialRelay = "serial-relay"

// ValveDrivers lists the drivers that a valve may name.
func ValveDrivers() []string { return []string{DriverGPIOLine, DriverSerialRelay} }

// DriverMCP4725 is the converter that sets a regulator.
const DriverMCP4725 = "mcp4725"

// Valve is the fill or the vent valve, and what drives it.
type Valve struct {
	ID      string  `toml:"id"`     // fill or vent
	Driver  string  `toml:"driver"` // see ValveDrivers
	Rest    string  `toml:"rest"`   // without power: shut (normally closed) or open (normally open)
	MinOnMS float64 `toml:"min_on_ms,omitempty"`

	// Driver gpio-line, and the port of serial-relay. A coil that has power
	// moves the valve away from its rest.
	Chip   string `toml:"chip,omitempty"`   // by label, name or path
	Line   string `toml:"line,omitempty"`   // its name, or its number as text
	Active string `toml:"active,omitempty"` // the coil has power while the line is high or low

	// Driver serial-relay: text commands. \r and \n are sent where they are written.
	Port       string  `toml:"port,omitempty"`
	Baud       int     `toml:"baud,omitempty"`
	OpenText   string  `toml:"open_text,omitempty"`   // opens the valve
	ShutText   string  `toml:"shut_text,omitempty"`   // shuts it
	PulseText  string  `toml:"pulse_text,omitempty"`  // opens the fill for a time that the board itself ends; {ms} stands for it
	Answer     string  `toml:"answer,omitempty"`      // what the device answers to either; empty: it says nothing
	AskText    string  `toml:"ask_text,omitempty"`    // asks where the valve stands; empty: it cannot tell
	OpenAnswer string  `toml:"open_answer,omitempty"` // says that it stands open
	ShutAnswer string  `toml:"shut_answer,omitempty"` // says that it stands shut
	AnswerMS   float64 `toml:"answer_ms,omitempty"`   // longest wait for an answer; 0: 300 ms
}

// MinOn is the shortest time for which the valve is moved away from its rest.
func (v Valve) MinOn() time.Duration { return time.Duration(v.MinOnMS * float64(time.Millisecond)) }

// AnswerTime is the longest wait for an answer.
func (v Valve) AnswerTime() time.Duration {
	if v.AnswerMS == 0 {
		return defaultAnswer
	}
	return time.Duration(v.AnswerMS * float64(time.Millisecond))
}

// PulseMS stands in a valve's pulse_text for the milliseconds.
const PulseMS = "{ms}"

// How a fill that stands open is shut when the program, its computer or the link
// to the relays dies.
type Backstop uint8

// The ways, the best first.
const (
	ByRelay  Backstop = iota // the watchdog relay takes the valves' power
	ByBoard                  // the relay board ends each opening by itself
	ByPerson                 // who stays at the supply's cock
	ByNobody
)

// Backstop says which of them a bench with valves has.
func (b Bench) Backstop() Backstop {
	fill, _ := b.Valve(FillValve)
	switch {
	case b.Heartbeat != nil:
		return ByRelay
	case fill.PulseText != "":
		return ByBoard
	case b.Attended:
		return ByPerson
	}
	return ByNobody
}

// Regulator is an electro-pneumatic pressure regulator that follows a voltage.
type Regulator struct {
	Driver       string  `toml:"driver"`         // mcp4725
	Bus          string  `toml:"bus,omitempty"`  // I2C bus, "1"; empty: the first
	Address      int     `toml:"address"`        // 0x60 to 0x67
	FullScaleV   float64 `toml:"full_scale_v"`   // V of the stage's output at full code
	LowV         float64 `toml:"low_v"`          // V at low_bar_gauge
	HighV        float64 `toml:"high_v"`         // V at high_bar_gauge
	LowBarGauge  float64 `toml:"low_bar_gauge"`  // bar gauge
	HighBarGauge float64 `toml:"high_bar_gauge"` // bar gauge
}

// Heartbeat is an output that changes with each period of the loop, for a relay
// that cuts the valves' power when it stops.
type Heartbeat struct {
	Chip string `toml:"chip"`
	Line string `toml:"line"`
}

// Watchdog is the machine's own: the kernel starts it anew when the loop hangs.
type Watchdog struct {
	Device string `toml:"device"`
}

const (
	defaultAnswer = 300 * time.Millisecond
	maxMinOnMS    = 1000
	maxAnswerMS   = 5000
	maxCommand    = 64
	maxVolts      = 24
)

// Valve gives the valve of an id.
func (b Bench) Valve(id string) (Valve, bool) {
	for _, v := range b.Valves {
		if v.ID == id {
			return v, true
		}
	}
	return Valve{}, false
}

// checkActuators checks the valves and what stands beside them.
func (b *Bench) checkActuators() error {
	if b.OnPowerLoss != "" {
		if err := checkWord("on_power_loss", b.OnPowerLoss, []string{PowerLossVent, PowerLossHold}); err != nil {
			return err
		}
	}
	if b.OnPowerLoss == PowerLossHold && b.Medium == MediumGas {
		return wrong("on_power_loss", "a chamber of gas must vent when the power fails; \"hold\" is for a pot full of water")
	}
	if b.Attended && len(b.Valves) == 0 {
		return wrong("attended", "it says who shuts the supply of a bench with valves when the program dies; a hand-operated bench has that person at the pump")
	}
	if b.HandOperated && (len(b.Valves) > 0 || b.Regulator != nil) {
		return wrong("hand_operated", "a bench with valves is driven, not operated by hand; leave out one of the two")
	}
	if len(b.Valves) == 0 && b.Regulator != nil {
		return wrong("regulator", "a regulator needs a fill valve before it and a vent: give [[valve]] fill and vent")
	}
	seen := map[string]bool{}
	for i := range b.Valves {
		key := func(name string) string { return fmt.Sprintf("valve[%d].%s", i, name) }
		v := &b.Valves[i]
		if err := checkWord(key("id"), v.ID, []string{FillValve, VentValve}); err != nil {
			return err
		}
		if seen[v.ID] {
			return wrong(key("id"), "two valves are called %q; a bench has one fill and one vent", v.ID)
		}
		seen[v.ID] = true
		if err := v.check(key); err != nil {
			return err
		}
		if err := b.checkRest(v, key); err != nil {
			return err
		}
	}
	if len(seen) == 1 {
		return wrong("valve", "one valve is given; a driven bench has both, fill and vent")
	}
	if err := b.checkSharing(); err != nil {
		return err
	}
	if r := b.Regulator; r != nil {
		return r.check()
	}
	return nil
}

// checkRest asks by name for valves that make a loss of power safe.
func (b *Bench) checkRest(v *Valve, key func(string) string) error {
	if err := checkWord(key("rest"), v.Rest, []string{RestShut, RestOpen}); err != nil {
		return err
	}
	switch {
	case v.ID == FillValve && v.Rest != RestShut:
		return wrong(key("rest"), "the fill valve must be normally closed (rest = \"shut\"): one that opens without power fills the chamber unwatched")
	case v.ID == VentValve && v.Rest != RestOpen && b.OnPowerLoss != PowerLossHold:
		return wrong(key("rest"), "the vent must be normally open (rest = \"open\"), so that losing power vents; a pot full of water may keep its pressure: on_power_loss = \"hold\"")
	case v.ID == VentValve && v.Rest == RestOpen && b.OnPowerLoss == PowerLossHold:
		return wrong(key("rest"), "this vent opens without power, and on_power_loss says \"hold\"; fit one that is normally closed, or say \"vent\"")
	}
	return nil
}

// checkSharing refuses one output for two purposes.
func (b *Bench) checkSharing() error {
	taken := map[string]string{}
	take := func(key, output, who string) error {
		if other := taken[output]; other != "" {
			return wrong(key, "%s has that line; each output has its own", other)
		}
		taken[output] = who
		return nil
	}
	for i, v := range b.Valves {
		if v.Driver == DriverGPIOLine {
			if err := take(fmt.Sprintf("valve[%d].line", i), v.Chip+" "+v.Line, v.ID); err != nil {
				return err
			}
		}
	}
	if h := b.Heartbeat; h != nil {
		if h.Chip == "" || h.Line == "" {
			return wrong("heartbeat.line", "the heartbeat needs chip and line, such as chip = \"gpiochip0\" and line = \"GPIO27\"")
		}
		if err := take("heartbeat.line", h.Chip+" "+h.Line, "the heartbeat"); err != nil {
			return err
		}
	}
	if w := b.Watchdog; w != nil && strings.TrimSpace(w.Device) == "" {
		return wrong("watchdog.device", "no device; the kernel's is \"/dev/watchdog\"")
	}
	if len(b.Valves) == 2 && b.Valves[0].Port != "" && b.Valves[0].Port == b.Valves[1].Port {
		a, c := b.Valves[0], b.Valves[1]
		if a.Baud != c.Baud {
			return wrong("valve[1].baud", "%d, and the other valve of that port has %d; a port has one rate", c.Baud, a.Baud)
		}
		if a.OpenText == c.OpenText || a.ShutText == c.ShutText || a.OpenText == c.ShutText || a.ShutText == c.OpenText {
			return wrong("valve[1].open_text", "both valves of the port obey the same command; each relay needs its own")
		}
	}
	return nil
}

func (v *Valve) check(key func(string) string) error {
	if err := checkWord(key("driver"), v.Driver, ValveDrivers()); err != nil {
		return err
	}
	if !within(v.MinOnMS, 0, maxMinOnMS) {
		return wrong(key("min_on_ms"), "%g must be 0 to %d ms", v.MinOnMS, maxMinOnMS)
	}
	if v.Driver == DriverGPIOLine {
		switch {
		case v.Port != "" || v.OpenText != "" || v.PulseText != "":
			return wrong(key("port"), "a valve on a GPIO line has chip and line, and no port")
		case v.Chip == "":
			return wrong(key("chip"), "no chip; such as \"gpiochip0\"")
		case v.Line == "":
			return wrong(key("line"), "no line; its name such as \"GPIO17\", or its number in quotes")
		}
		return checkWord(key("active"), v.Active, []string{ActiveHigh, ActiveLow})
	}
	if v.Chip != "" || v.Line != "" || v.Active != "" {
		return wrong(key("chip"), "a valve behind a serial relay has a port and its commands, and no chip, line or active")
	}
	if strings.TrimSpace(v.Port) == "" {
		return wrong(key("port"), "no serial port; give its name, best one below /dev/serial/by-id, which stays with the device")
	}
	if !slices.Contains(serialport.Bauds(), v.Baud) {
		return wrong(key("baud"), "%d is no usual rate of a serial port; use one of %s", v.Baud, strings.Trim(fmt.Sprint(serialport.Bauds()), "[]"))
	}
	for _, c := range []struct{ name, text string }{{"open_text", v.OpenText}, {"shut_text", v.ShutText}} {
		if c.text == "" || len(c.text) > maxCommand {
			return wrong(key(c.name), "the command that the relay obeys is 1 to %d bytes, such as \"AT+CH1=1\\r\\n\"", maxCommand)
		}
	}
	switch {
	case v.PulseText != "" && v.ID != FillValve:
		return wrong(key("pulse_text"), "it is for the fill valve; a vent stands open for as long as it is wanted")
	case v.PulseText != "" && (!strings.Contains(v.PulseText, PulseMS) || len(v.PulseText) > maxCommand):
		return wrong(key("pulse_text"), "no %s, which stands for the milliseconds after which the board shuts the valve by itself; such as \"PULSE 1 %s\\r\\n\"", PulseMS, PulseMS)
	case v.OpenText == v.ShutText:
		return wrong(key("shut_text"), "the same as open_text")
	case v.AskText != "" && (v.OpenAnswer == "" || v.ShutAnswer == "" || v.OpenAnswer == v.ShutAnswer):
		return wrong(key("open_answer"), "ask_text needs open_answer and shut_answer, two different texts")
	case v.AskText == "" && (v.OpenAnswer != "" || v.ShutAnswer != ""):
		return wrong(key("ask_text"), "open_answer and shut_answer are answers to ask_text, which is missing")
	case !within(v.AnswerMS, 0, maxAnswerMS):
		return wrong(key("answer_ms"), "%g must be 0 to %d ms", v.AnswerMS, maxAnswerMS)
	}
	return nil
}

func (r *Regulator) check() error {
	if err := checkWord("regulator.driver", r.Driver, []string{DriverMCP4725}); err != nil {
		return err
	}
	switch {
	case r.Address < 0x60 || r.Address > 0x67:
		return wrong("regulator.address", "%#x is no address of that part; 0x60 to 0x67 are", r.Address)
	case !(r.FullScaleV > 0 && r.FullScaleV <= maxVolts):
		return wrong("regulator.full_scale_v", "%g must be above 0 and at most %d V", r.FullScaleV, maxVolts)
	case !(r.LowV >= 0 && r.HighV > r.LowV && r.HighV <= r.FullScaleV):
		return wrong("regulator.high_v", "low_v (%g) and high_v (%g) must rise from 0 to full_scale_v (%g)", r.LowV, r.HighV, r.FullScaleV)
	case !(r.LowBarGauge >= 0 && r.HighBarGauge > r.LowBarGauge && r.HighBarGauge <= maxRatedPa/1e5):
		return wrong("regulator.high_bar_gauge", "low_bar_gauge (%g) and high_bar_gauge (%g) must rise from 0 or more", r.LowBarGauge, r.HighBarGauge)
	}
	return nil
}
