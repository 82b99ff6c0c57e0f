package benchfile

import (
	"fmt"
	"maps"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"proofpot/rig/setup"
)

// TestWhateverIsAnsweredTheFileLoads draws answers that the questions take.
func TestWhateverIsAnsweredTheFileLoads(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := Answers{}
		for _, q := range Questions {
			if !q.Applies(a) {
				continue
			}
			var typed string
			switch {
			case strings.HasSuffix(q.Key, "_mux"):
				typed = rapid.SampledFrom([]string{"-", "0x70", "0x73"}).Draw(t, q.Key)
			case q.Key == "regulator_address":
				typed = rapid.SampledFrom(append([]string{"-"}, q.One...)).Draw(t, q.Key)
			case strings.HasSuffix(q.Key, "_address"):
				typed = rapid.SampledFrom(partAddresses[a.partOf(q.Key)]).Draw(t, q.Key)
			case q.One != nil && q.Maybe:
				typed = rapid.SampledFrom(append([]string{"-"}, q.One...)).Draw(t, q.Key)
			case q.One != nil:
				typed = rapid.SampledFrom(q.One).Draw(t, q.Key)
			case q.Key == "chip":
				typed = map[bool]string{true: "gpiochip0", false: rapid.SampledFrom([]string{"-", "gpiochip0"}).Draw(t, q.Key)}[a["valves_on"] == "gpio"]
			case strings.HasSuffix(q.Key, "ds18b20"):
				typed = rapid.SampledFrom([]string{"-", map[string]string{"wall_ds18b20": "28-0316a2795cff", "chamber_ds18b20": "28-0316a2798fff"}[q.Key]}).Draw(t, q.Key)
			case q.Key == "relay_pulse":
				typed = rapid.SampledFrom([]string{"-", `PULSE {ms}\r\n`}).Draw(t, q.Key)
			case q.Bytes && (!q.Maybe || rapid.Bool().Draw(t, q.Key)):
				typed = rapid.SampledFrom([]string{"SET ", "\\t\\\\", "!"}).Draw(t, q.Key) + q.Key + `\r\n`
			case q.Bytes:
				typed = "-"
			case q.Whole && q.High < 1000:
				typed = fmt.Sprint(rapid.IntRange(0, int(q.High)).Draw(t, q.Key))
			case q.Maybe && !(q.Key == "room_hpa" && a["reference"] == "gauge") && rapid.Bool().Draw(t, q.Key+" not known"):
				typed = "-"
			case q.Unit != "":
				low, high := q.Low, q.High
				switch q.Key {
				case "rated_bar_gauge":
					high = 50
				case "relief_bar_gauge":
					low, high = 0.5*a.number("rated_bar_gauge"), a.number("rated_bar_gauge")
				case "gas_cushion_ml":
					high = 0.9 * a.number("chamber_volume_ml")
				case "high":
					low, high = 1, 1000
				case "regulator_high_v":
					high = a.number("regulator_full_v")
				case "baud", "relay_baud":
					typed = rapid.SampledFrom([]string{"9600", "115200"}).Draw(t, q.Key)
				}
				if typed == "" {
					typed = fmt.Sprintf("%.6f", rapid.Float64Range(low, high).Draw(t, q.Key))
				}
			case strings.HasSuffix(q.Key, "from"):
				typed = map[string]string{"key-value": "p_bar", "csv": "2", "json": "pot.kpa"}[a["line"]]
				if q.Key == "water_from" {
					typed = map[string]string{"key-value": "t_c", "csv": "3", "json": "t[0]"}[a["line"]]
				}
			case q.Default != "":
			case strings.HasSuffix(q.Key, "_line"):
				typed = q.Key
			default:
				typed = "/dev/ttyUSB0"
			}
			kept, err := q.Check(typed, a)
			if err != nil {
				t.Skip(q.Key, err) // too small to be a chamber
			}
			a[q.Key] = kept
		}
		if a["room_bus"] == a["part_bus"] || a["inside_bus"] == a["part_bus"] || a["room_bus"] == a["inside_bus"] {
			for _, of := range []string{"room", "inside"} { // two parts at one place
				delete(a, of+"_bus")
				delete(a, of+"_address")
				delete(a, of+"_mux")
				delete(a, of+"_channel")
				if a["i2c"] == "yes" {
					a[of+"_part"] = "-"
				}
			}
		}
		text := Text(a, rapid.Float64Range(0, 1e4).Draw(t, "noise"))
		if _, err := setup.ParseBench("bench.toml", text); err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		again, err := ParseAnswers("a", EncodeAnswers(a))
		if err != nil || !maps.Equal(again, a) {
			t.Fatalf("%v %v, want %v", err, again, a)
		}
	})
}

func TestAnswersThatCannotBeAreRefused(t *testing.T) {
	a := Answers{"part": "ms5803-14ba", "chamber_volume_ml": "9500", "rated_bar_gauge": "8"}
	for key, typed := range map[string]string{
		"relief_bar_gauge": "9", "gas_cushion_ml": "9500", "rated_bar_gauge": "NaN", "chamber_volume_ml": "9,5",
		"baud": "9600.5", "fill_on": `SET\x`, "vent_off": `"`, "relay_pulse": `PULSE 1 900\r\n`, "part_address": "0x44",
		"operated": "perhaps", "id": `a"b`, "port": "", "reference": "sealed",
	} {
		for _, q := range Questions {
			if q.Key != key {
				continue
			}
			if kept, err := q.Check(typed, a); err == nil {
				t.Errorf("%s: %q was taken as %q", key, typed, kept)
			}
		}
	}
	for _, text := range []string{"id pot", "colour: red", "id: a\nid: b"} {
		if _, err := ParseAnswers("a.txt", []byte(text)); err == nil || !strings.HasPrefix(err.Error(), "a.txt:") {
			t.Errorf("%q: %v", text, err)
		}
	}
}
