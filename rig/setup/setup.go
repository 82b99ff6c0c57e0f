// Package setup describes the unit under test and the bench as a person writes
// them in unit.toml and bench.toml, and the sheet of a run, run.toml, which
// holds both with the profile, as they were used.
package setup

import (
	"proofpot/profiles"
	"proofpot/sensors/calibration"
)

// Unit is the housing under test, as it was closed.
type Unit struct {
	ID            string  `toml:"id"`
	Variant       string  `toml:"variant,omitempty"`
	OuterVolumeML float64 `toml:"outer_volume_ml,omitempty"` // ml of water it displaces
	FreeVolumeML  float64 `toml:"free_volume_ml"`            // ml of air inside
	SealedPa      float64 `toml:"sealed_pa,omitempty"`       // Pa absolute, when it was closed; 0: the room's at the start
	SealedC       float64 `toml:"sealed_c,omitempty"`        // °C, when it was closed
	SealedRHPct   float64 `toml:"sealed_rh_pct,omitempty"`   // %, humidity of the air that was closed in; 0: not known
	Material      string  `toml:"material,omitempty"`
	Window        string  `toml:"window,omitempty"`
	Seals         string  `toml:"seals,omitempty"`
	Lubricant     string  `toml:"lubricant,omitempty"`
	Torque        string  `toml:"torque,omitempty"`    // of the fasteners, "0.8 N m, crosswise" say
	ClosedBy      string  `toml:"closed_by,omitempty"` // who closed it
	ClosedOn      string  `toml:"closed_on,omitempty"` // date, 2026-03-14
	Cells         string  `toml:"cells,omitempty"`     // inside, dummy or none; empty: not said
	Notes         string  `toml:"notes,omitempty"`
}

// What a unit may hold for cells.
const (
	CellsInside = "inside" // water in the unit is a danger: see the quarantine card
	CellsDummy  = "dummy"
	CellsNone   = "none"
)

// Media and supplies of a bench.
const (
	MediumWater = "water" // the chamber holds water with a gas cushion
	MediumGas   = "gas"   // the chamber holds gas alone
	SupplyGas   = "gas"   // compressed gas is let in
	SupplyWater = "water" // water is pumped in and squeezes the cushion
)

// Bench is the chamber with what feeds, guards and watches it. All pressures
// are absolute: a rating that is stamped as gauge is written with _bar_gauge.
type Bench struct {
	ID                      string  `toml:"id"`
	Medium                  string  `toml:"medium"`
	Supply                  string  `toml:"supply"`
	ChamberVolumeML         float64 `toml:"chamber_volume_ml"`
	LidDiameterMM           float64 `toml:"lid_diameter_mm,omitempty"`  // mm, inner: what the pressure pushes the lid off with
	GasCushionML            float64 `toml:"gas_cushion_ml,omitempty"`   // ml at room pressure, medium water
	StiffnessMLPerBar       float64 `toml:"stiffness_ml_per_bar"`       // chamber and water without the gas
	RatedPa                 float64 `toml:"rated_pa"`                   // Pa absolute
	ReliefPa                float64 `toml:"relief_pa,omitempty"`        // Pa absolute
	RatedBarGauge           float64 `toml:"rated_bar_gauge,omitempty"`  // bench.toml only: becomes RatedPa
	ReliefBarGauge          float64 `toml:"relief_bar_gauge,omitempty"` // bench.toml only: becomes ReliefPa
	RoomPa                  float64 `toml:"room_pa,omitempty"`          // Pa absolute, barometer at the start
	BlankLeakMLPerHPerBar   float64 `toml:"blank_leak_ml_per_h_per_bar,omitempty"`
	BlankLeakSDMLPerHPerBar float64 `toml:"blank_leak_sd_ml_per_h_per_bar,omitempty"`
	HandOperated            bool    `toml:"hand_operated,omitempty"`
	PeriodMS                float64 `toml:"period_ms,omitempty"`     // ms, of the loop; 0: 500
	OnPowerLoss             string  `toml:"on_power_loss,omitempty"` // vent or hold; empty: vent
	Attended                bool    `toml:"attended,omitempty"`      // somebody stays at the supply's cock: nothing else shuts a fill when the program dies

	Valves    []Valve    `toml:"valve,omitempty"`
	Regulator *Regulator `toml:"regulator,omitempty"`
	Heartbeat *Heartbeat `toml:"heartbeat,omitempty"`
	Watchdog  *Watchdog  `toml:"watchdog,omitempty"`
	Measured  *Measured  `toml:"measured,omitempty"` // run.toml only: what was measured of the bench, as used

	Sensors []Sensor `toml:"sensor"`
	Notices []Notice `toml:"notice,omitempty"` // bench.toml only
}

// Sensor is one device of the bench. One device may measure several quantities.
type Sensor struct {
	ID         string  `toml:"id"`
	Measures   string  `toml:"measures"`              // the main quantity, see sensors.QuantityNames
	NoisePa    float64 `toml:"noise_pa,omitempty"`    // Pa, standard deviation of one reading
	AccuracyPa float64 `toml:"accuracy_pa,omitempty"` // Pa
	Driver     string  `toml:"driver,omitempty"`      // how it is read, see Drivers; empty in records made elsewhere

	// Driver serial-line: a device that prints text lines.
	Port         string  `toml:"port,omitempty"`          // serial port
	Baud         int     `toml:"baud,omitempty"`          // 1/s
	Parity       string  `toml:"parity,omitempty"`        // "none", "even" or "odd"; empty: none
	StopBits     int     `toml:"stop_bits,omitempty"`     // 1 or 2; 0: 1
	Line         string  `toml:"line,omitempty"`          // shape of a text line, see textline.Shapes; gpio-line: the line of the chip
	Pattern      string  `toml:"pattern,omitempty"`       // line "pattern": a regular expression whose named groups are the numbers
	DecimalComma bool    `toml:"decimal_comma,omitempty"` // numbers are written 3,214
	Separator    string  `toml:"separator,omitempty"`     // csv: ",", ";", "\t" or " "; empty: found in each line
	Checksum     bool    `toml:"checksum,omitempty"`      // refuse lines without a checksum
	Sequence     string  `toml:"sequence,omitempty"`      // where the line number stands; empty: key or path "n", csv none
	Banner       string  `toml:"banner,omitempty"`        // text of the line that the device prints when it starts
	IntervalS    float64 `toml:"interval_s,omitempty"`    // s between two lines; 0: 1 s
	Fields       []Field `toml:"field,omitempty"`

	// Driver ads1115: the input, "ain3", on which the supply of the others is measured.
	SupplyInput     string  `toml:"supply_input,omitempty"`
	SupplyLowV      float64 `toml:"supply_low_v,omitempty"`
	SupplyHighV     float64 `toml:"supply_high_v,omitempty"`
	SupplyDividedBy float64 `toml:"supply_divided_by,omitempty"` // by resistors before it; 0: 1

	// Driver ds18b20: a thermometer on a 1-Wire bus, through the kernel's files, or on
	// the bus that is named.
	Part string `toml:"part,omitempty"` // 28- and twelve hexadecimal digits, as proofpot sensors lists it

	// Calibration is what is added to the readings; of the file beside bench.toml,
	// and in run.toml as used.
	Calibration *calibration.Calibration `toml:"calibration,omitempty"`

	// Driver file-line: another logger's lines, of any shape.
	Path string `toml:"path,omitempty"` // of a file that grows or a named pipe; "-": standard input

	// Driver typed: a gauge that a person reads and types; see sensors/typed.
	Division float64 `toml:"division,omitempty"` // of its scale, in the field's unit

	// Driver gpio-line: a wet probe or a switch on a digital line; see sensors/gpioline.
	Chip       string  `toml:"chip,omitempty"`        // label, name or path of the GPIO chip
	Active     string  `toml:"active,omitempty"`      // the level that is wet, open or pressed: "high" or "low"
	Bias       string  `toml:"bias,omitempty"`        // what holds the line: "pull-up", "pull-down", "none" or "as-is"
	DebounceMS float64 `toml:"debounce_ms,omitempty"` // how long a level must stand to count; 0: 50 ms

	// Driver modbus: a transmitter on a serial line, which several may share; see sensors/modbus.
	ModbusAddress int     `toml:"modbus_address,omitempty"` // 1 to 247
	TimeoutS      float64 `toml:"timeout_s,omitempty"`      // s until an answer must have come; 0: 0.5 s

	// Parts on an I2C bus: drivers ms5837-30ba, bme280 and others, see sensor_i2c.go.
	Bus     string `toml:"bus,omitempty"`     // the kernel's number of it, "1"; ds18b20: of its 1-Wire bus
	Address int    `toml:"address,omitempty"` // of the part
	Mux     int    `toml:"mux,omitempty"`     // address of the TCA9548A that it is behind; 0: none
	Channel *int   `toml:"channel,omitempty"` // of that

	// Driver max31865, a Pt100 or Pt1000 on SPI.
	SPI          string  `toml:"spi,omitempty"`           // the kernel's numbers of it, "0.0"
	R0Ohm        float64 `toml:"r0_ohm,omitempty"`        // Ω at 0 °C, 100 or 1000
	ReferenceOhm float64 `toml:"reference_ohm,omitempty"` // Ω, on the board
	Wires        int     `toml:"wires,omitempty"`         // 2, 3 or 4
	MainsHz      int     `toml:"mains_hz,omitempty"`      // 50 or 60, what is filtered out
}

// Field maps one number of a text line to a quantity.
type Field struct {
	// Driver ads1115: what hangs at the input; see sensors/ads1115. Low and high
	// are the values at both ends of a transducer's signal.
	Signal    string    `toml:"signal,omitempty"`     // ratiometric, loop, thermistor or wet-probe
	DividedBy float64   `toml:"divided_by,omitempty"` // ratiometric: by resistors before the input; 0: 1
	ShuntOhm  float64   `toml:"shunt_ohm,omitempty"`
	SeriesOhm float64   `toml:"series_ohm,omitempty"`
	R25Ohm    float64   `toml:"r25_ohm,omitempty"` // of a thermistor at 25 °C
	BetaK     float64   `toml:"beta_k,omitempty"`
	Steinhart []float64 `toml:"steinhart_hart,omitempty"` // A, B and C of 1/T = A + B ln R + C (ln R)³, instead of the two
	RangeV    float64   `toml:"range_v,omitempty"`        // full scale of the input, see sensors/ads1115; 0: 6.144
	EndOhm    float64   `toml:"end_ohm,omitempty"`        // across the far end of a wet probe's line

	From      string `toml:"from"`                // key, column number from 1, or JSON path; modbus: register from 0; I2C: output of the part
	Measures  string `toml:"measures,omitempty"`  // see sensors.QuantityNames; empty: as the sensor
	Unit      string `toml:"unit,omitempty"`      // bar, mbar, hPa, kPa, MPa, Pa, psi; C, K, F; %; none for wet probes
	Reference string `toml:"reference,omitempty"` // pressures: absolute, gauge or sealed-gauge

	SealedPa  float64 `toml:"sealed_pa,omitempty"`  // Pa absolute, in a sealed-gauge transducer; 0: the standard atmosphere
	Low       float64 `toml:"low,omitempty"`        // least that the sensor can show, in Unit
	High      float64 `toml:"high,omitempty"`       // most that it can show, in Unit; low and high 0: not declared
	IntervalS float64 `toml:"interval_s,omitempty"` // s between two values; 0: as the sensor

	// Driver modbus.
	Function     int    `toml:"function,omitempty"`      // 3 holding registers, 4 input registers; 0: 3
	Type         string `toml:"type,omitempty"`          // "int16", "uint16", "int32", "uint32" or "float32"
	WordOrder    string `toml:"word_order,omitempty"`    // of two registers: "high-first" or "low-first"
	Decimals     int    `toml:"decimals,omitempty"`      // 3: 3214 is 3.214
	DecimalsFrom string `toml:"decimals_from,omitempty"` // register in which the device says how many
	UnitFrom     string `toml:"unit_from,omitempty"`     // register in which it shows its unit
	UnitCode     int    `toml:"unit_code,omitempty"`     // what that holds while the unit is the one above
}

// Run is the sheet of a run: run.toml.
type Run struct {
	Format  int              `toml:"format"`
	Unit    Unit             `toml:"unit"`
	Bench   Bench            `toml:"bench"`
	Profile profiles.Profile `toml:"profile"`
}
