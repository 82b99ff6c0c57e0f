package setup

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"proofpot/profiles/strict"
	"proofpot/sensors"
	"proofpot/sensors/scale"
	"proofpot/sensors/serialline/textline"
)

const goodUnit = `id = "KP-01"
variant = "clear lid, double seal"
outer_volume_ml = 1450
free_volume_ml = 610.5
sealed_pa = 97950
sealed_c = 21.4
material = "printed PETG, sealed"
window = "acrylic 8 mm"
seals = "two O-rings 70 NBR"
notes = "second closure"
`

func handSerial(t *testing.T) string {
	t.Helper()
	data, err := os.ReadFile("testdata/hand-serial.toml")
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

func TestTheBenchOfTheReadmeIsRead(t *testing.T) {
	b, err := LoadBench("testdata/hand-serial.toml")
	if err != nil {
		t.Fatal(err)
	}
	if !b.HandOperated || b.HasBarometer() || b.Sensors[0].Interval() != 100*time.Millisecond {
		t.Errorf("%+v", b)
	}
	// 8 and 7 bar gauge above 97800 Pa.
	if b.RatedPa != 897800 || b.ReliefPa != 797800 || b.RatedBarGauge != 0 || b.ReliefBarGauge != 0 {
		t.Errorf("rated %v, relief %v Pa absolute; gauge left over: %v, %v", b.RatedPa, b.ReliefPa, b.RatedBarGauge, b.ReliefBarGauge)
	}
	p, err := textline.NewParser(b.Sensors[0].TextLine(), scale.NewRoom(b.RoomPa, b.HasBarometer()))
	if err != nil {
		t.Fatal(err)
	}
	rs := p.Line(0, []byte("p_bar=3.21400 t_c=18.42 n=17 *68"), nil)
	if len(rs) != 2 || rs[0].Quantity != sensors.ChamberPressure || rs[0].Value != 419200 || rs[1].Value != 18.42 {
		t.Errorf("its line reads %+v", rs)
	}
}

func TestAGaugeRatingStandsAboveTheRoomOrTheStandardAtmosphere(t *testing.T) {
	text := strings.Replace(handSerial(t), "room_pa = 97800", "#", 1)
	text = strings.Replace(text, `reference = "gauge" `, `reference = "absolute" `, 1)
	b, err := ParseBench("bench.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	if b.RatedPa != 901325 || b.ReliefPa != 801325 {
		t.Errorf("without room_pa: rated %v, relief %v", b.RatedPa, b.ReliefPa)
	}
	text = strings.Replace(text, "rated_bar_gauge = 8.0", "rated_pa = 850000", 1)
	if b, err = ParseBench("bench.toml", []byte(text)); err != nil || b.RatedPa != 850000 {
		t.Errorf("an absolute rating becomes %v, %v", b.RatedPa, err)
	}
}

func TestAUnitFileIsRead(t *testing.T) {
	u, err := ParseUnit("unit.toml", []byte(goodUnit))
	if err != nil {
		t.Fatal(err)
	}
	want := Unit{ID: "KP-01", Variant: "clear lid, double seal", OuterVolumeML: 1450, FreeVolumeML: 610.5, SealedPa: 97950, SealedC: 21.4,
		Material: "printed PETG, sealed", Window: "acrylic 8 mm", Seals: "two O-rings 70 NBR", Notes: "second closure"}
	if u != want {
		t.Errorf("got %+v", u)
	}
}

// edit is one line of a good file that is changed, and what is said about it.
type edit struct{ from, to, want string }

func TestAWrongUnitFileGivesOneLineWithItsPlace(t *testing.T) {
	for _, e := range []edit{
		{"free_volume_ml", "free_volume_m", `unit.toml:4:1: `},
		{"610.5", `"610"`, `unit.toml:4:`},
		{"610.5", "0", `unit.toml:4:1: free_volume_ml: 0 is not the air inside a unit`},
		{"free_volume_ml = 610.5\n", "", `free_volume_ml: 0 is not the air`},
		{"610.5", "nan", `unit.toml:4:`},
		{"1450", "600", `unit.toml:3:1: outer_volume_ml: 600 must be above free_volume_ml (610.5)`},
		{"97950", "0.98", `unit.toml:5:1: sealed_pa: 0.98 is no pressure to close a unit at`},
		{"21.4", "294", `unit.toml:6:1: sealed_c: 294 is no temperature`},
		{"KP-01", "KP/01", `unit.toml:1:1: id: "KP/01" is no name for folders`},
		{"KP-01", "..", `unit.toml:1:1: id: ".." is no name`},
		{"KP-01", "", `unit.toml:1:1: id: no name`},
		{"KP-01", strings.Repeat("K", 41), `longer than 40`},
	} {
		expect(t, e, goodUnit, "unit.toml", func(data []byte) error { _, err := ParseUnit("unit.toml", data); return err })
	}
}

func TestAWrongBenchFileGivesOneLineWithItsPlace(t *testing.T) {
	good := handSerial(t)
	for _, e := range []edit{
		{`medium = "water"`, `medium = "watr"`, `medium: "watr" is none of "water", "gas"; is "water" meant?`},
		{`medium = "water"`, `medium = "gas"`, `supply: water cannot be pumped into a chamber whose medium is gas`},
		{`supply = "water"`, `suply = "water"`, `"suply"`},
		{`supply = "water"`, `supply = ""`, `supply: "" is none of "gas", "water"`},
		{"= 9500", "= -1", "chamber_volume_ml: -1 is no chamber"},
		{"= 9500", "= 100", "gas_cushion_ml: 120 must be at least 0 and below chamber_volume_ml (100)"},
		{"lid_diameter_mm = 180 ", "lid_diameter_mm = 9000 ", "lid_diameter_mm: 9000 is no lid; must be 0 (not known) to 3000 mm"},
		{"= 1.8 ", "= -1.8 ", "stiffness_ml_per_bar: -1.8 must be 0 to 10000 ml/bar"},
		{"rated_bar_gauge = 8.0", "rated_bar_gauge = 8.0\nrated_pa = 900000", "rated_bar_gauge: rated_pa is given already"},
		{"rated_bar_gauge = 8.0", "#", "rated_bar_gauge: nothing says what the chamber is rated for"},
		{"rated_bar_gauge = 8.0", "rated_pa = 8", "rated_pa: 8 Pa absolute must be above the room's 97800"},
		{"rated_bar_gauge = 8.0", "rated_bar_gauge = -8", "rated_bar_gauge: -8 must be above 0"},
		{"relief_bar_gauge = 7.0", "#", "relief_bar_gauge: nothing says what the relief valve is set to"},
		{"relief_bar_gauge = 7.0", "relief_bar_gauge = 9", "relief_bar_gauge: the relief valve opens at 9.00 bar gauge, above the chamber's rating of 8.00"},
		{"room_pa = 97800", "room_pa = 978", "room_pa: 978 is no room's pressure"},
		{"room_pa = 97800", "#", "reference: a gauge pressure needs the room's"},
		{`id = "p1"`, `id = "p 1"`, `id: "p 1" is no name`},
		{`measures = "chamber pressure"`, `measures = "chamber presure"`, `measures: "chamber presure" is none of`},
		{`measures = "chamber pressure"`, `measures = "inside pressure"`, `sensor: no sensor measures the chamber`},
		{`measures = "chamber water temperature"`, `measures = "water temperature"`, `measures: "water temperature" is none of`},
		{"noise_pa = 60", "noise_pa = -60", "noise_pa: -60 must be"},
		{"accuracy_pa = 4000", "accuracy_pa = 1e9", "accuracy_pa: 1e+09 must be"},
		{`driver = "serial-line"`, "#", `driver: nothing says how the sensor is read`},
		{`driver = "serial-line"`, `driver = "serialline"`, `is "serial-line" meant?`},
		{`port = "/dev/serial/by-id/usb-pot-sensor"`, `port = " "`, "port: no serial port"},
		{"baud = 115200", "baud = 115000", "baud: 115000 is no usual rate"},
		{"baud = 115200", "", "baud: 0 is no usual rate"},
		{`line = "key-value"`, `line = "keyvalue"`, `line: "keyvalue" is no shape of a line`},
		{"interval_s = 0.1", "interval_s = -1", "interval_s: -1 must be above 0"},
		{`unit = "bar"`, `unit = "atm"`, `unit: "atm" is no unit of chamber pressure; use "Pa"`},
		{`reference = "gauge"`, `reference = "relative"`, `reference: "relative" is no reference`},
		{`reference = "gauge"`, `#`, `reference: say what the pressure is measured from`},
		{`high = 10.0`, `high = -1`, `high: the range -0.2 to -1 is empty`},
		{`from = "t_c"`, `form = "t_c"`, `"form"`},
		{`from = "t_c"`, `from = ""`, `from: say where the number stands`},
		{`unit = "C"`, `unit = "C"` + "\ninterval_s = 1e9", `interval_s: 1e+09 must be above 0`},
		{`unit = "C"`, `unit = "C"` + "\n[[sensor]]\nid=\"p1\"\nmeasures=\"wet probe\"", `id: two sensors are called "p1"`},
		{`unit = "C"`, `unit = "C"` + "\n[[sensor]]\nid=\"w1\"\nmeasures=\"wet probe\"\ndriver=\"serial-line\"\nbaud=9600\nline=\"csv\"\n" +
			"port=\"/dev/serial/by-id/usb-pot-sensor\"\nfield=[{from=\"1\"}]", `port: sensor "p1" has that port`},
		{`unit = "C"`, `unit = "C"` + "\n[[sensor]]\nid=\"b1\"\nmeasures=\"room pressure\"\n[[sensor]]\nid=\"b2\"\nmeasures=\"room pressure\"",
			`measures: sensor "b1" is the barometer already`},
	} {
		expect(t, e, good, "bench.toml", func(data []byte) error { _, err := ParseBench("bench.toml", data); return err })
	}
	b, err := ParseBench("bench.toml", []byte(good))
	if err != nil {
		t.Fatal(err)
	}
	b.GasCushionML, b.Medium, b.Supply = 10, MediumGas, SupplyGas
	var wrong *KeyError
	if err := b.Check(); !errors.As(err, &wrong) || wrong.Key != "gas_cushion_ml" {
		t.Errorf("a gas chamber with a cushion: %v", err)
	}
}

// expect makes one edit and looks for one line that begins with the file and a
// place, and says what is wanted.
func expect(t *testing.T, e edit, good, file string, parse func([]byte) error) {
	t.Helper()
	text := strings.Replace(good, e.from, e.to, 1)
	if text == good {
		t.Fatalf("%q is not in the good file", e.from)
	}
	err := parse([]byte(text))
	if err == nil {
		t.Errorf("%q for %q is taken", e.to, e.from)
		return
	}
	var at *strict.Error
	if !errors.As(err, &at) || at.Line < 1 || at.Column < 1 || !strings.HasPrefix(err.Error(), file+":") {
		t.Errorf("%q for %q: no place in %q", e.to, e.from, err)
	}
	if strings.Contains(err.Error(), "\n") || !strings.Contains(err.Error(), e.want) {
		t.Errorf("%q for %q: got %q, want one line with %q", e.to, e.from, err, e.want)
	}
}

func TestTheErrorOfAFieldPointsAtItsLine(t *testing.T) {
	text := strings.Replace(handSerial(t), `unit = "C" `, `unit = "X" `, 1)
	_, err := ParseBench("bench.toml", []byte(text))
	var at *strict.Error
	if !errors.As(err, &at) {
		t.Fatal(err)
	}
	if line := strings.Split(text, "\n")[at.Line-1]; !strings.HasPrefix(line, `unit = "X"`) {
		t.Errorf("%v points at %q", err, line)
	}
}

func TestAFileThatIsNotThereIsSaidInOneLine(t *testing.T) {
	missing := filepath.Join(t.TempDir(), "unit.toml")
	if _, err := LoadUnit(missing); !errors.Is(err, fs.ErrNotExist) || !strings.HasPrefix(err.Error(), "unit file ") {
		t.Errorf("%v", err)
	}
	if _, err := LoadBench(missing); !errors.Is(err, fs.ErrNotExist) || !strings.HasPrefix(err.Error(), "bench file ") {
		t.Errorf("%v", err)
	}
	if _, err := LoadBench(t.TempDir()); err == nil || strings.Contains(err.Error(), "\n") {
		t.Errorf("a folder: %v", err)
	}
}

func TestTheUnitOfTheReadmeIsRead(t *testing.T) {
	u, err := LoadUnit("testdata/kp-01.toml")
	if err != nil {
		t.Fatal(err)
	}
	if u.ID != "KP-01" || u.FreeVolumeML != 520 || u.OuterVolumeML != 920 || u.SealedC != 18.5 || u.SealedPa != 0 {
		t.Errorf("%+v", u)
	}
}
