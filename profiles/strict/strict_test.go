package strict

import (
	"errors"
	"fmt"
	"strings"
	"testing"
)

type pot struct {
	Name  string  `toml:"name"`
	Depth float64 `toml:"depth_m"`
	Water struct {
		Model    string  `toml:"model"`
		Salinity float64 `toml:"salinity_gkg"`
	} `toml:"water"`
	Stages []stage `toml:"stage"`
	Notes  []string
	Last   *stage `toml:"last"`
}

type stage struct {
	Name   string  `toml:"name"`
	DepthM float64 `toml:"depth_m"`
	HoldS  float64 `toml:"hold_s"`
	Cycles int     `toml:"cycles"`
	Wet    bool    `toml:"wet"`
}

func TestAnErrorNamesPlaceFoundAndAllowed(t *testing.T) {
	for _, c := range []struct{ document, want string }{
		{"name = \"a\"\n[[stage]]\ndepht_m = 3", `f.toml:3:1: unknown key "depht_m" in stage[0]; did you mean "depth_m"?`},
		{"[[stage]]\n[[stage]]\n  hodl = 3\n  dept_m = 1", `f.toml:3:3: unknown key "hodl" in stage[1]; allowed are name, depth_m, hold_s, cycles, wet (and 1 more error)`},
		{"Depth_M = 3", `f.toml:1:1: unknown key "Depth_M"; did you mean "depth_m"?`},
		{"[water]\nmodle = 'sea'\nsalinity = 3\nzzzzzzzzzzzz=1", `f.toml:2:1: unknown key "modle" in water; did you mean "model"? (and 2 more errors)`},
		{"[water]\nhold_s = 3", `f.toml:2:1: unknown key "hold_s" in water; it belongs in [[stage]]`},
		{"[water]\nsalinity_gkg = 3\n[[stage]]\nmodel = 'sea'", `f.toml:4:1: unknown key "model" in stage[0]; it belongs in [water]`},
		{"[water]\ndepth_m = 3", `f.toml:2:1: unknown key "depth_m" in water; it belongs above the first [table]`},
		{"xyzzy = 3", `f.toml:1:1: unknown key "xyzzy"; allowed are name, depth_m, water, stage, Notes, last`},
		{"\"ü\" = 1", `f.toml:1:1: unknown key "ü"; allowed are name, depth_m, water, stage, Notes, last`},
		{"[watre]\nmodel = 'sea'", `f.toml:1:2: unknown key "watre"; did you mean "water"?`},
		{"water.model = 3", `f.toml:1:7: "water.model" is the number 3, must be a string in quotes`},
		{"water = { model = 'sea', salinty_gkg = 1 }", `f.toml:1:26: unknown key "salinty_gkg" in water; did you mean "salinity_gkg"?`},
		{"depth_m = '30 m'", `f.toml:1:1: "depth_m" is the string "30 m", must be a number`},
		{"depth_m = nan", `f.toml:1:1: "depth_m" is the number nan, must be a finite number`},
		{"depth_m = -inf", `f.toml:1:1: "depth_m" is the number -inf, must be a finite number`},
		{"[[stage]]\ncycles = 1.5", `f.toml:2:1: "stage[0].cycles" is the number 1.5, must be a whole number`},
		{"[[stage]]\nwet = 1", `f.toml:2:1: "stage[0].wet" is the number 1, must be true or false`},
		{"[stage]\ndepth_m = 1", `f.toml:1:2: "stage" is one table [stage], must be a list of tables, each begun by [[stage]]`},
		{"stage = 3", `f.toml:1:1: "stage" is the number 3, must be a list of tables, each begun by [[stage]]`},
		{"Notes = 'x'", `f.toml:1:1: "Notes" is the string "x", must be a list in square brackets`},
		{"Notes = ['x', 3]", `f.toml:1:15: "Notes[1]" is the number 3, must be a string in quotes`},
		{"water = 3", `f.toml:1:1: "water" is the number 3, must be a table [water]`},
		{"last = { wet = 'no' }", `f.toml:1:10: "last.wet" is the string "no", must be true or false`},
		{"name = 'a'\nname = 'b'", `f.toml:2:1: key name is already defined`},
		{"[water]\n[water]", `f.toml:2:2: table water already exists`},
		{"depth_m = ", `f.toml:1:10: expected value, not end of input`},
		{"name = deep", `f.toml:1:8: found 'd' where a value should begin: text stands in quotes, a number begins with a digit, and true and false are written small`},
		{"depth_m = .3", `f.toml:1:11: found '.' where a value should begin: text stands in quotes, a number begins with a digit, and true and false are written small`},
		{"name = \"é\" 3", `f.toml:1:12: found '3' after the value, where the line should end`},
		{"depth_m = 1,5", `f.toml:1:12: found ',' after the value, where the line should end; decimals are written with a point`},
		{"depth_m = 3 m", `f.toml:1:13: found 'm' after the value, where the line should end`},
		{"ü = 1", `f.toml:1:1: found 'ü' where a key should begin: a key is of the letters a to z, digits, _ and -`},
		{"[stage", `f.toml:1:6: expected ']' to close table name`},
		{"name: 3", `f.toml:1:5: expected '=' after key`},
		{"name = 'x", `f.toml:1:9: unterminated literal string`},
		{"[[stage]]\ncycles = 99999999999999999999", `f.toml:2:10: decimal number is too large to fit in a 64-bit signed integer`},
	} {
		var p pot
		err := Decode("f.toml", []byte(c.document), &p)
		if err == nil || err.Error() != c.want {
			t.Errorf("%q\n got %v\nwant %s", c.document, err, c.want)
			continue
		}
		var typed *Error
		if !errors.As(err, &typed) {
			t.Errorf("%q: error is %T", c.document, err)
		}
	}
}

func TestAGoodFileFillsTheStructAndKeepsDefaults(t *testing.T) {
	p := pot{Depth: 7}
	p.Water.Model = "sea"
	err := Decode("f.toml", []byte("name = 'a'\r\nwater.salinity_gkg = 35\r\n[[stage]]\r\ndepth_m = 3\r\n[[stage]]\r\ncycles = 0x10\r\n[last]\r\nwet = true\r\n"), &p)
	if err != nil {
		t.Fatal(err)
	}
	if p.Name != "a" || p.Depth != 7 || p.Water.Model != "sea" || p.Water.Salinity != 35 ||
		len(p.Stages) != 2 || p.Stages[0].DepthM != 3 || p.Stages[1].Cycles != 16 || p.Last == nil || !p.Last.Wet {
		t.Errorf("got %+v", p)
	}
}

func TestAFailedDecodeLeavesTheStructAlone(t *testing.T) {
	p := pot{Name: "before"}
	if err := Decode("f.toml", []byte("name = 'after'\ndepth_m = 'x'"), &p); err == nil || p.Name != "before" {
		t.Errorf("got %+v, %v", p, err)
	}
	if err := Decode("f.toml", nil, p); err == nil {
		t.Error("decoded into a struct that is not a pointer")
	}
}

func TestAnErrorIsPlacedOnItsKey(t *testing.T) {
	document := []byte("name = 'a'\nwater = { model = 'lava' }\n\n[[stage]]\ndepth_m = 3\n\n[[stage]]\n  hold_s = 4\n  depth_m = -1\n")
	for _, c := range []struct {
		key          string
		line, column int
	}{
		{"name", 1, 1},
		{"water.model", 2, 11},
		{"stage[0].depth_m", 5, 1},
		{"stage[1].depth_m", 9, 3},
		{"stage[1].name", 7, 3},  // not there: the stage
		{"stage", 4, 3},          // the first header
		{"stage[7].name", 4, 3},  // no such stage
		{"accept.leak", 1, 1},    // not there: the top
		{"water.latitude", 2, 1}, // not there: the table
		{"", 1, 1},
	} {
		var e *Error
		if err := At("f.toml", document, c.key, "is wrong"); !errors.As(err, &e) || e.Line != c.line || e.Column != c.column || e.Text != "is wrong" {
			t.Errorf("%s: got %v, want %d:%d", c.key, err, c.line, c.column)
		}
	}
}

func TestNearestMeansWhatAPersonMeant(t *testing.T) {
	keys := []string{"name", "depth_m", "settle_s", "hold_s", "cycles", "id"}
	for word, want := range map[string]string{
		"depht_m": "depth_m", "depth": "depth_m", "depth_ft": "depth_m", "hold": "hold_s", "Hold_s": "hold_s",
		"settle": "settle_s", "cycels": "cycles", "dI": "id", "nmae": "name", "pressure_pa": "", "zz": "", "": "",
	} {
		if got, ok := Nearest(word, keys); got != want || ok != (want != "") {
			t.Errorf("%q: got %q, want %q", word, got, want)
		}
	}
	if _, ok := Nearest("proof-", []string{"proof-30m-sea-long", "proof-40m-sea-long"}); ok {
		t.Error("a beginning of two words means neither")
	}
	if d := distance("abcdef", "badcfe"); d != 3 {
		t.Errorf("three swaps: distance %d", d)
	}
}

func TestAFileThatNoPersonWroteIsRefusedQuickly(t *testing.T) {
	var p pot
	for name, document := range map[string]string{
		"too large":        strings.Repeat("#", 128<<10+1),
		"deep lists":       "a = " + strings.Repeat("[", 5000) + strings.Repeat("]", 5000),
		"deep tables":      "[" + strings.Repeat("a.", 20000) + "a]",
		"many keys":        manyKeys(3000),
		"one endless name": strings.Repeat("a", 1<<16) + " = 1",
	} {
		err := Decode("f.toml", []byte(document), &p)
		if err == nil || len(err.Error()) > 500 {
			t.Errorf("%s: %.300v", name, err)
		}
	}
}

func manyKeys(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "key%d = 1\n", i)
	}
	return b.String()
}

func FuzzDecode(f *testing.F) {
	for _, s := range []string{
		"name = 'a'\n[[stage]]\ndepth_m = 3\n[water]\nmodel=\"sea\"", "a.b.c = 1\n[a.b]\nd = 2", "stage = [{wet = true}, {cycles = 2}]",
		"[[stage]]\n[stage.x]\n[[stage.x.y]]", "Notes = [[1], {a = 2}, 1979-05-27T07:32:00Z]", "x = \"\"\"\n\\u00e9\"\"\"", "[a]\n[a.b]\n[a]",
	} {
		f.Add([]byte(s), "stage[0].depth_m")
	}
	f.Fuzz(func(t *testing.T, data []byte, key string) {
		var p pot
		if err := Decode("f.toml", data, &p); err != nil {
			var e *Error
			if !errors.As(err, &e) || strings.ContainsAny(e.Text, "\n\r") || e.Text == "" {
				t.Fatalf("error %T %q", err, err)
			}
			lines := strings.Split(string(data), "\n")
			if e.Line < 1 || e.Line > len(lines) || e.Column < 1 || e.Column > len([]rune(lines[e.Line-1]))+1 {
				t.Fatalf("%q: place %d:%d is not in the document", data, e.Line, e.Column)
			}
		}
		_ = At("f.toml", data, key, "x")
	})
}
