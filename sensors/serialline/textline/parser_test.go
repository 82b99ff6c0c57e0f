package textline

import (
	"fmt"
	"math"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"proofpot/sensors"
	"proofpot/sensors/scale"
	"proofpot/sensors/sensortest"
)

const (
	pot   = sensors.ChamberPressure
	water = sensors.ChamberWater
	baro  = sensors.RoomPressure
)

func parser(t testing.TB, c Config, room *scale.Room) *Parser {
	t.Helper()
	c.Sensor, c.Main = "p1", c.Fields[0].Quantity
	p, err := NewParser(c, room)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// gaugeAndWater is the example of the protocol page, in a room of 1000 hPa.
func gaugeAndWater(t testing.TB) *Parser {
	return parser(t, Config{Shape: KeyValue, Banner: "hello", Fields: []Field{
		{From: "p_bar", Quantity: pot, Unit: "bar", Reference: scale.Gauge, Low: -0.2, High: 10},
		{From: "t_c", Quantity: water, Unit: "C"},
	}}, scale.NewRoom(100000, false))
}

// said is a reading in short: "pressure=421400", or its status.
func said(rs []sensors.Reading) string {
	var all []string
	for _, r := range rs {
		if r.Status == sensors.OK {
			all = append(all, fmt.Sprintf("%v=%.6g", r.Quantity, r.Value))
		} else {
			all = append(all, fmt.Sprintf("%v %v", r.Quantity, r.Status))
		}
	}
	return strings.Join(all, "; ")
}

func TestALineOfEachShapeGivesItsValues(t *testing.T) {
	fields := func(a, b string) []Field {
		return []Field{{From: a, Quantity: pot, Unit: "bar", Reference: scale.Absolute}, {From: b, Quantity: water, Unit: "C"}}
	}
	const want = "chamber pressure=321400; chamber water temperature=18.42"
	for _, c := range []struct {
		name   string
		config Config
		lines  []string
	}{
		{"key-value", Config{Shape: KeyValue, Fields: fields("p", "t")}, []string{
			"p=3.214 t=18.42", "t=18.42 p=3.214", "p=3.214,t=18.42", "p=3.214;t=18.42", "p=3.214\tt=18.42",
			" p=+3.214 ;  t=1842e-2 ", "x=abc p=3.214 t=18.42 flag="}},
		{"key-value, decimal comma", Config{Shape: KeyValue, DecimalComma: true, Fields: fields("p", "t")}, []string{
			"p=3,214 t=18,42", "p=3,214;t=18,42", "p=3,214\tt=1842e-2"}},
		{"csv", Config{Shape: CSV, Fields: fields("2", "3")}, []string{
			"7,3.214,18.42", "7;3.214;18.42", "7\t3.214\t18.42", "7  3.214 18.42", `"7", "3.214", "18.42"`}},
		{"csv, decimal comma", Config{Shape: CSV, DecimalComma: true, Fields: fields("1", "3")}, []string{
			"3,214;7,5;18,42", "3,214\t0\t18,42", "3,214 0 18,42"}},
		{"csv, given separator", Config{Shape: CSV, Separator: ";", Fields: fields("1", "2")}, []string{"3.214;18.42"}},
		{"json", Config{Shape: JSON, Fields: fields("pot.bar", "t.1")}, []string{
			`{"pot":{"bar":3.214},"t":[0,18.42]}`, ` { "t" : [ null , "18.42" ] , "pot" : { "bar" : 3.214e0 } } `}},
	} {
		for _, line := range c.lines {
			p := parser(t, c.config, scale.NewRoom(0, false))
			rs := p.Line(3*time.Second, []byte(line), nil)
			if said(rs) != want {
				t.Errorf("%s: %q reads %q, want %q", c.name, line, said(rs), want)
				continue
			}
			if rs[0].At != 3*time.Second || rs[0].Sensor != "p1" {
				t.Errorf("%s: %q: %+v does not say when and who", c.name, line, rs[0])
			}
		}
	}
}

func TestADamagedLineGivesNoValueAtAll(t *testing.T) {
	for _, line := range []string{
		"p_bar=3.214 t_c=18.4x", "p_bar=3.2.14 t_c=18.42", "p_bar=3.214 t_c", "p_bar=3,214 t_c=18.42", "p_bar=0x3 t_c=1",
		"p_bar=3.2p_bar=3.214 t_c=18.42", "p_bar=3.2 p_bar=3.214 t_c=18.42", "p_bar=3_214", "p_bar=1e t_c=2", "p_bar=1e999",
		"p_bar=3.214bar", "=3.214 p_bar=3.214", "p_bar = 3.214", "x=1", "hPa", "p_bar=3.214\x00 t_c=18.42",
		"p_bar=3.214 \xff t_c=18.42", "p_bar=3.214 t_c=18.42 *00", "p_bar=3.214 t_c=18.42 *zz", "p_bar=3.214 n=-1",
		"p_bar=３.214", strings.Repeat("k=1 ", 3), strings.TrimSuffix(bigLine(), " "),
	} {
		if rs := gaugeAndWater(t).Line(0, []byte(line), nil); said(rs) != "chamber pressure garbled" {
			t.Errorf("%q reads %q", line, said(rs))
		} else if !strings.Contains(rs[0].Text, Shorten([]byte(line))) {
			t.Errorf("%q: the fault does not quote it: %s", line, rs[0].Text)
		}
	}
	for _, line := range []string{
		`{"p":3.2`, `{"p":3.2{"p":3.214}`, `{"p":3.2}{"p":3.2}`, `[3.2]`, `null`, `3.2`, `{"p":[3.2]}`, `{"p":true}`, `{"p":"3,2"}`, `{"q":3.2}`, `{"p":3.2}]`,
	} {
		p := parser(t, Config{Shape: JSON, Fields: []Field{{From: "p", Quantity: pot, Unit: "bar", Reference: scale.Absolute}}}, scale.NewRoom(0, false))
		if got := said(p.Line(0, []byte(line), nil)); got != "chamber pressure garbled" {
			t.Errorf("%s reads %q", line, got)
		}
	}
}

func bigLine() string {
	var b strings.Builder
	for i := range 100 {
		fmt.Fprintf(&b, "k%d=1 ", i)
	}
	return b.String()
}

func TestCommentsAndOtherKeysArePassedOver(t *testing.T) {
	p := gaugeAndWater(t)
	for line, want := range map[string]string{
		"": "", "   ": "", "# pot sensor 3": "", "# boot after brown-out": "chamber pressure restarted",
		"v=1 p_bar=1 ok=yes": "chamber pressure=200000", "t_c=4": "chamber water temperature=4",
	} {
		if got := said(p.Line(0, []byte(line), nil)); got != want {
			t.Errorf("%q reads %q, want %q", line, got, want)
		}
	}
}

func TestADeviceWithoutAValueSaysSo(t *testing.T) {
	for _, none := range []string{"nan", "NaN", "-nan", "inf", "-INF", "", "null", "ovf"} {
		got := said(gaugeAndWater(t).Line(0, []byte("p_bar="+none+" t_c=18"), nil))
		if got != "chamber pressure no-reading; chamber water temperature=18" {
			t.Errorf("%q reads %q", none, got)
		}
	}
}

func TestNothingOutOfRangeBecomesAValue(t *testing.T) {
	for line, want := range map[string]string{
		"p_bar=10":         "chamber pressure=1.1e+06",
		"p_bar=10.001":     "chamber pressure out-of-range",
		"p_bar=-0.2":       "chamber pressure=80000",
		"p_bar=-0.201":     "chamber pressure out-of-range",
		"t_c=-127":         "chamber water temperature out-of-range", // a broken wire
		"t_c=150":          "chamber water temperature=150",
		"t_c=150.1":        "chamber water temperature out-of-range",
		"p_bar=99 t_c=18":  "chamber pressure out-of-range; chamber water temperature=18",
		"p_bar=1e300 t_c=": "chamber pressure out-of-range; chamber water temperature no-reading",
	} {
		if got := said(gaugeAndWater(t).Line(0, []byte(line), nil)); got != want {
			t.Errorf("%q reads %q, want %q", line, got, want)
		}
	}
	limits := Config{Shape: CSV, Fields: []Field{
		{From: "1", Quantity: sensors.UnitHumidity, Unit: "%"}, {From: "2", Quantity: baro, Unit: "hPa", Reference: scale.Absolute},
		{From: "3", Quantity: sensors.ProbeWet}, {From: "4", Quantity: sensors.ProbeLevel, Unit: "%"},
		{From: "5", Quantity: sensors.UnitPressure, Unit: "Pa", Reference: scale.Absolute}}}
	good := "inside humidity=50; room pressure=101300; wet probe=1; wet probe level=0.25; inside pressure=100000"
	if got := said(parser(t, limits, scale.NewRoom(0, true)).Line(0, []byte("50;1013;wet;25;100000"), nil)); got != strings.Join([]string{
		"room pressure=101300", "inside humidity=50", "wet probe=1", "wet probe level=0.25", "inside pressure=100000"}, "; ") {
		t.Errorf("good values read %q, want those of %q", got, good)
	}
	rs := parser(t, limits, scale.NewRoom(0, true)).Line(0, []byte("110;499;0.5;101;-1"), nil)
	for _, r := range rs {
		if r.Status != sensors.OutOfRange || !math.IsNaN(r.Value) {
			t.Errorf("%+v is no fault", r)
		}
	}
	if len(rs) != 5 {
		t.Errorf("%d readings, want 5", len(rs))
	}
}

// The psi, the bar and the atmosphere are those of SI and of the 10th CGPM; the
// other values are exact by definition.
func TestUnitsAgreeWithTheirDefinitions(t *testing.T) {
	for _, c := range []struct {
		quantity sensors.Quantity
		text     string
		unit     string
		want     float64
	}{
		{pot, "1", "psi", 6894.757293168}, {pot, "14.695948775513", "psi", 101325}, {pot, "1.01325", "bar", 101325},
		{pot, "1013.25", "mbar", 101325}, {pot, "1013.25", "hPa", 101325}, {pot, "101.325", "kPa", 101325},
		{pot, "0.101325", "MPa", 101325}, {pot, "101325", "Pa", 101325},
		{water, "32", "F", 0}, {water, "212", "F", 100}, {water, "-40", "F", -40}, {water, "273.15", "K", 0}, {water, "18.42", "C", 18.42},
		{sensors.RoomHumidity, "55", "%", 55}, {sensors.ProbeLevel, "55", "%", 0.55},
	} {
		f := Field{From: "1", Quantity: c.quantity, Unit: c.unit}
		if scale.IsPressure(c.quantity) {
			f.Reference = scale.Absolute
		}
		rs := parser(t, Config{Shape: CSV, Fields: []Field{f}}, scale.NewRoom(0, false)).Line(0, []byte(c.text), nil)
		if len(rs) != 1 || rs[0].Status != sensors.OK || math.Abs(rs[0].Value-c.want) > 1e-9*math.Max(math.Abs(c.want), 100) {
			t.Errorf("%s %s reads %+v, want %v", c.text, c.unit, rs, c.want)
		}
	}
}

func TestAGaugePressureIsMadeAbsoluteByTheBarometer(t *testing.T) {
	gauge := Config{Shape: KeyValue, Fields: []Field{{From: "p", Quantity: pot, Unit: "kPa", Reference: scale.Gauge}}}
	both := gauge
	both.Fields = append([]Field(nil), gauge.Fields[0], Field{From: "b", Quantity: baro, Unit: "hPa", Reference: scale.Absolute})

	p := parser(t, gauge, scale.NewRoom(98000, false))
	if got := said(p.Line(0, []byte("p=200"), nil)); got != "chamber pressure=298000" {
		t.Errorf("by room_pa: %q", got)
	}
	p = parser(t, gauge, scale.NewRoom(0, false))
	if got := said(p.Line(0, []byte("p=200"), nil)); got != "chamber pressure no-reading" {
		t.Errorf("with no room known: %q", got)
	}
	// With a barometer, what the file states does not count, not even at first.
	p = parser(t, both, scale.NewRoom(98000, true))
	for _, step := range []struct {
		at         time.Duration
		line, want string
	}{
		{0, "p=200", "chamber pressure no-reading"},
		{1 * time.Second, "p=200 b=1000", "room pressure=100000; chamber pressure=300000"}, // the same line serves
		{2 * time.Second, "p=200 b=10", "room pressure out-of-range; chamber pressure=300000"},
		{1*time.Second + scale.BarometerHoldover, "p=200", "chamber pressure=300000"},
		{2*time.Second + scale.BarometerHoldover, "p=200", "chamber pressure no-reading"},
		{3*time.Second + scale.BarometerHoldover, "p=200 b=990", "room pressure=99000; chamber pressure=299000"},
	} {
		if got := said(p.Line(step.at, []byte(step.line), nil)); got != step.want {
			t.Errorf("at %v %q reads %q, want %q", step.at, step.line, got, step.want)
		}
	}
}

func TestASealedGaugePressureHoldsWhatWasSealedIn(t *testing.T) {
	sealed := Config{Shape: KeyValue, Fields: []Field{{From: "p", Quantity: pot, Unit: "Pa", Reference: scale.SealedGauge}}}
	if got := said(parser(t, sealed, scale.NewRoom(98000, false)).Line(0, []byte("p=200000"), nil)); got != "chamber pressure=301325" {
		t.Errorf("standard atmosphere: %q", got)
	}
	sealed.Fields[0].SealedPa = 98000
	if got := said(parser(t, sealed, scale.NewRoom(101000, false)).Line(0, []byte("p=200000"), nil)); got != "chamber pressure=298000" {
		t.Errorf("sealed at 98000 Pa: %q", got)
	}
}

func TestChecksumsAgreeWithPublishedNMEASentences(t *testing.T) {
	for _, row := range sensortest.Table(t, "../../../testdata/reference/nmea_xdr_checksum.csv", 7) {
		for _, dollar := range []string{"", "$"} {
			p := gaugeAndWater(t)
			_, why := p.checksum(dollar + row[0] + "*" + row[1])
			if valid := row[3] == "1"; (why == "") != valid {
				t.Errorf("%s%s*%s: %q, want valid=%v", dollar, row[0], row[1], why, valid)
			}
		}
	}
}

func TestTheLineOfTheProtocolPageReads(t *testing.T) {
	page, err := os.ReadFile("../doc.go")
	if err != nil {
		t.Fatal(err)
	}
	const line = "p_bar=3.21400 t_c=18.42 n=17 *68"
	if !strings.Contains(string(page), line) {
		t.Fatal("the page has another example")
	}
	if got := said(gaugeAndWater(t).Line(0, []byte(line), nil)); got != "chamber pressure=421400; chamber water temperature=18.42" {
		t.Errorf("it reads %q", got)
	}
}

// TestEveryExampleOfTheProtocolPageReads reads each line of the page that ends
// with a checksum, and the start of the device.
func TestEveryExampleOfTheProtocolPageReads(t *testing.T) {
	page, err := os.ReadFile("../doc.go")
	if err != nil {
		t.Fatal(err)
	}
	field := func(from string, q sensors.Quantity, unit string) Field {
		f := Field{From: from, Quantity: q, Unit: unit}
		if q == pot {
			f.Reference = scale.Gauge
		}
		return f
	}
	shapes := map[byte]*Parser{}
	for first, c := range map[byte]Config{
		'p': {Shape: KeyValue, Fields: []Field{field("p_bar", pot, "bar"), field("t_c", sensors.ChamberWater, "C"), field("wet", sensors.ProbeWet, "")}},
		'3': {Shape: CSV, Sequence: "1", Fields: []Field{field("2", pot, "bar"), field("3", sensors.ChamberWater, "C")}},
		'{': {Shape: JSON, Fields: []Field{field("pot.bar", pot, "bar"), field("water.c", sensors.ChamberWater, "C")}},
		'$': {Shape: NMEA, Fields: []Field{field("P:POT", pot, "bar"), field("C:WATER", sensors.ChamberWater, "C")}},
	} {
		shapes[first] = parser(t, c, scale.NewRoom(100000, false))
	}
	shapes['#'] = shapes['p']
	var got []string
	ends := regexp.MustCompile(`^//\t(.*\*[0-9A-F]{2}|# .*boot)( +nmea.*)?$`)
	for line := range strings.Lines(string(page)) {
		if m := ends.FindStringSubmatch(strings.TrimSpace(line)); m != nil {
			got = append(got, said(shapes[m[1][0]].Line(0, []byte(m[1]), nil)))
		}
	}
	const both = "chamber pressure=421400; chamber water temperature=18.42"
	want := []string{both, both, both, both, "chamber pressure restarted",
		"chamber pressure=100012; chamber water temperature=18.4; wet probe=0",
		"chamber pressure=100015; chamber water temperature=18.4; wet probe=0",
		"chamber pressure=421400; chamber water temperature no-reading; wet probe=0"}
	if !slices.Equal(got, want) {
		t.Errorf("read:\n%s\nwant:\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

func TestADeviceThatSentChecksumsIsHeldToThem(t *testing.T) {
	p := gaugeAndWater(t)
	if got := said(p.Line(0, []byte("p_bar=3.21400 t_c=18.42 n=17 *68"), nil)); !strings.HasPrefix(got, "chamber pressure=") {
		t.Fatal(got)
	}
	if got := said(p.Line(0, []byte("p_bar=3.21"), nil)); got != "chamber pressure garbled" {
		t.Errorf("a line cut short reads %q", got)
	}
	demanding := gaugeAndWater(t)
	demanding.config.Checksum = true
	if got := said(demanding.Line(0, []byte("p_bar=3.21"), nil)); got != "chamber pressure garbled" {
		t.Errorf("a line without the checksum asked for reads %q", got)
	}
}

func TestSequenceNumbersShowLostLinesAndRestarts(t *testing.T) {
	const value = "chamber pressure=200000"
	p := gaugeAndWater(t)
	for _, step := range []struct{ n, want string }{
		{"7", value}, {"8", value}, {"10", "chamber pressure no-reading; " + value}, {"11", value},
		{"11", "chamber pressure garbled"}, {"12", value},
		{"0", "chamber pressure restarted; " + value}, {"1", value},
		{"255", "chamber pressure no-reading; " + value}, {"0", value}, {"x", "chamber pressure garbled"}, {"1", value},
		{"65535", "chamber pressure no-reading; " + value}, {"0", value},
		{"4294967295", "chamber pressure no-reading; " + value}, {"0", value},
	} {
		if got := said(p.Line(0, []byte("p_bar=1 n="+step.n), nil)); got != step.want {
			t.Errorf("after n=%s: %q, want %q", step.n, got, step.want)
		}
	}
	p.Restart()
	if got := said(p.Line(0, []byte("p_bar=1 n=500"), nil)); got != value {
		t.Errorf("after the port was opened anew: %q", got)
	}
	rows := parser(t, Config{Shape: CSV, Sequence: "1", Fields: []Field{{From: "2", Quantity: pot, Unit: "Pa", Reference: scale.Absolute}}}, nil)
	rows.Line(0, []byte("5;200000"), nil)
	if got := said(rows.Line(0, []byte("4;200000"), nil)); got != "chamber pressure restarted; "+value {
		t.Errorf("a csv column: %q", got)
	}
}

func TestWhatADevicePrintsWhenItStartsIsARestart(t *testing.T) {
	for _, line := range []string{
		"rst:0x1 (POWERON_RESET),boot:0x13", "p_bar=3.2# boot: watchdog", "p_bar=3.2rst:0x8", "hello from the pot", "# Brownout", "Power-on",
	} {
		if got := said(gaugeAndWater(t).Line(0, []byte(line), nil)); got != "chamber pressure restarted" {
			t.Errorf("%q reads %q", line, got)
		}
	}
}

func TestACSVHeaderComesOnceAndThenMeansARestart(t *testing.T) {
	p := parser(t, Config{Shape: CSV, Fields: []Field{{From: "2", Quantity: pot, Unit: "Pa", Reference: scale.Absolute}}}, nil)
	for i, step := range []struct{ line, want string }{
		{"time;pressure", ""}, {"1;200000", "chamber pressure=200000"}, {"2;2000", "chamber pressure=2000"},
		{"3;20000;7", "chamber pressure garbled"}, // two lines run into one
		{"4;200000", "chamber pressure garbled"},  // is it two columns or three?
		{"5;200000", "chamber pressure=200000"},
		{"time;pressure", "chamber pressure restarted"}, {"1;200000", "chamber pressure=200000"},
		{"6", "chamber pressure garbled"}, {"a;b", "chamber pressure garbled"},
	} {
		if got := said(p.Line(0, []byte(step.line), nil)); got != step.want {
			t.Errorf("line %d, %q, reads %q, want %q", i, step.line, got, step.want)
		}
	}
}
