package profiles

import (
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/pelletier/go-toml/v2"

	"proofpot/profiles/strict"
)

const good = `name = "trial"
water = { model = "sea", salinity_gkg = 35.0, temperature_c = 12.0, latitude_deg = 58.0 }
proof_factor = 1.25
ramp_m_per_min = 10.0
[[stage]]
name = "shallow"
depth_m = 3.0
settle_s = 120
hold_s = 300
[[stage]]
name = "proof"
depth_m = 37.5
settle_s = 300
hold_s = 900
cycles = 1
[accept]
leak_ml_per_h = 0.5
moisture_mg_per_h = 2.0
inside_rise_pa = 300.0
`

func TestTheProfileOfTheContractIsRead(t *testing.T) {
	p, err := Parse("p.toml", []byte(good))
	if err != nil {
		t.Fatal(err)
	}
	if p.Name != "trial" || len(p.Stages) != 2 || p.Stages[1].DepthM != 37.5 || p.DeepestM() != 37.5 || p.RatedM() != 30 || p.Accept.LeakMLPerH != 0.5 {
		t.Errorf("got %+v", p)
	}
}

func TestAWrongProfileIsOneClearLine(t *testing.T) {
	for _, c := range []struct{ from, to, want string }{
		{`depth_m = 3.0`, `dept_m = 3.0`, `p.toml:7:1: unknown key "dept_m" in stage[0]; did you mean "depth_m"?`},
		{`depth_m = 3.0`, `depth_m = -3.0`, `p.toml:7:1: depth_m is -3; must be 0 to 1200 (metres)`},
		{`depth_m = 37.5`, `depth_m = 1500`, `p.toml:12:1: depth_m is 1500; must be 0 to 1200 (metres)`},
		{`depth_m = 3.0`, ``, `p.toml:5:3: depth_m must be more than 0 in a stage of kind "hold"`},
		{`depth_m = 3.0`, `depth_m = "3 m"`, `p.toml:7:1: "stage[0].depth_m" is the string "3 m", must be a number`},
		{`settle_s = 300`, `settle_s = -1`, `p.toml:13:1: settle_s is -1; must be 0 to 2592000 (seconds)`},
		{`hold_s = 900`, `hold_s = 0`, `p.toml:14:1: hold_s must be more than 0 in a stage of kind "hold"`},
		{`cycles = 1`, `cycles = 1.5`, `p.toml:15:1: "stage[1].cycles" is the number 1.5, must be a whole number`},
		{`name = "proof"`, `name = "shallow"`, `p.toml:11:1: two stages are named "shallow"; names must be unique`},
		{`name = "proof"`, ``, `p.toml:10:3: name is missing: give every stage a name of its own`},
		{`name = "trial"`, ``, `p.toml:1:1: name is missing: give the profile a name such as "proof-30m-sea"`},
		{`name = "trial"`, `name = "a/b"`, `p.toml:1:1: name is "a/b"; must be one line without slashes, tabs or blanks at its ends`},
		{`proof_factor = 1.25`, `proof_factor = 0.9`, `p.toml:3:1: proof_factor is 0.9; must be 1 to 4 (1.25 is usual, 1.5 for plastics and one-offs)`},
		{`ramp_m_per_min = 10.0`, `ramp_m_per_min = 0`, `p.toml:4:1: ramp_m_per_min is 0; must be more than 0 and at most 600 (10 is usual)`},
		{`"sea"`, `"see"`, `p.toml:2:11: unknown water model "see"; did you mean "sea"? there are sea, EOS-80, fresh, EN 13319, msw, fsw, fsw-33`},
		{`salinity_gkg = 35.0`, `salinity_gkg = 350`, `p.toml:2:26: salinity_gkg is 350; must be 0 to 42 g/kg`},
		{`latitude_deg = 58.0`, `latitude = 58.0`, `p.toml:2:69: unknown key "latitude" in water; did you mean "latitude_deg"?`},
		{`leak_ml_per_h = 0.5`, `leak_ml_per_h = -0.5`, `p.toml:17:1: leak_ml_per_h is -0.5; must be 0 to 100000 (ml/h)`},
		{"leak_ml_per_h = 0.5\nmoisture_mg_per_h = 2.0\ninside_rise_pa = 300.0", ``, `p.toml:16:2: there is no limit of acceptance: give at least one of leak_ml_per_h, moisture_mg_per_h, inside_rise_pa, or one by the dive`},
		{`leak_ml_per_h = 0.5`, `leak_ml_per_dive = 0.5`, `p.toml:16:2: dive_min is missing: a limit by the dive needs the minutes of a dive`},
		{`leak_ml_per_h = 0.5`, `fog_dives = 6.0`, `p.toml:16:2: dive_min is missing: a limit by the dive needs the minutes of a dive`},
		{`leak_ml_per_h = 0.5`, "leak_ml_per_h = 0.5\nfog_water_c = 4.0", `p.toml:16:2: fog_dives is missing: fog_water_c is the water in which the inside must not fog before so many dives`},
		{`leak_ml_per_h = 0.5`, "leak_ml_per_h = 0.5\nleak_ml_per_dive = 0.1\ndive_min = 60", `p.toml:17:1: leak_ml_per_h is 0.5, and the limit by the dive makes 0.1 ml/h; give one of them`},
		{`cycles = 1`, `kind = "cycels"`, `p.toml:15:1: unknown kind "cycels"; did you mean "cycles"? there are hold, soak, return, cycles, search, vacuum, conditioning, plunge, powered, depressurise`},
		{`cycles = 1`, `kind = "cycles"`, `p.toml:10:3: cycles is 0; must be 2 or more in a stage of kind "cycles"`},
		{`cycles = 1`, `kind = "return"`, `p.toml:12:1: depth_m is 37.5, and no stage before it is deeper; a return is a shallow hold after a deep one`},
		{`cycles = 1`, `kind = "vacuum"`, `p.toml:12:1: depth_m is given, and a stage of kind "vacuum" has none; it has settle_s, settle_max_s, hold_s, vacuum_pa`},
		{`cycles = 1`, `kind = "search"`, `p.toml:10:3: step_m must be more than 0 in a stage of kind "search"`},
		{`cycles = 1`, `settle_max_s = 10`, `p.toml:15:1: settle_max_s is 10, less than settle_s 300; it is the ceiling, settle_s the floor`},
		{`cycles = 1`, "cycles = 3\nlow_depth_m = 40", `p.toml:16:1: low_depth_m is 40, not shallower than depth_m 37.5`},
		{`cycles = 1`, `vacuum_pa = 3`, `p.toml:15:1: vacuum_pa is given, and a stage of kind "hold" has none; it has depth_m, settle_s, settle_max_s, hold_s, cycles, low_depth_m, low_hold_s, ramp_m_per_min, make_up`},
		{`proof_factor = 1.25`, `proof_factor = 1.25` + "\nproof_factor = 1.5", `p.toml:4:1: key proof_factor is already defined`},
	} {
		text := strings.Replace(good, c.from, c.to, 1)
		if text == good {
			t.Fatalf("%q is not in the good profile", c.from)
		}
		_, err := Parse("p.toml", []byte(text))
		if err == nil || err.Error() != c.want {
			t.Errorf("%q → %q\n got %v\nwant %s", c.from, c.to, err, c.want)
		}
	}
	if _, err := Parse("p.toml", []byte(strings.SplitN(good, "[[stage]]", 2)[0])); err == nil || !strings.Contains(err.Error(), "there is no stage: begin at least one with [[stage]]") {
		t.Errorf("got %v", err)
	}
}

func TestBuiltInProfilesAreSoundAndNamedAsTheirFiles(t *testing.T) {
	names := BuiltIn()
	if len(names) < 12 {
		t.Fatalf("only %d built in", len(names))
	}
	kinds := map[string]bool{}
	for _, name := range names {
		p, err := Load(name)
		if err != nil {
			t.Error(err)
			continue
		}
		if p.Name != name || p.Purpose == "" {
			t.Errorf("%s: named %q, purpose %q", name, p.Name, p.Purpose)
		}
		for _, s := range p.Stages {
			kinds[s.Kind] = true
		}
		if strings.HasPrefix(name, "proof-") {
			if last := p.Stages[len(p.Stages)-1]; p.DeepestM() != p.RatedM()*1.25 || last.Kind != KindReturn || p.Stages[0].DepthM != 3 {
				t.Errorf("%s: not the ladder: %+v", name, p)
			}
		}
	}
	for _, kind := range StageKinds() {
		if !kinds[kind] && kind != KindHold {
			t.Errorf("no built-in profile has a stage of kind %q", kind)
		}
	}
}

func TestEveryKindOfStageIsRead(t *testing.T) {
	files, _ := filepath.Glob("testdata/*.toml")
	if len(files) == 0 {
		t.Fatal("no files")
	}
	kinds := map[string]bool{}
	for _, f := range files {
		p, err := Load(f)
		if err != nil {
			t.Error(err)
		}
		for _, s := range p.Stages {
			kinds[s.Kind] = true
		}
	}
	for _, k := range StageKinds()[1:] {
		if !kinds[k] {
			t.Errorf("no file has a stage of kind %q", k)
		}
	}
}

func TestAnUnknownProfileNamesTheNearest(t *testing.T) {
	_, err := Load("prof-30m-sea")
	if err == nil || !strings.HasPrefix(err.Error(), `unknown profile "prof-30m-sea"; did you mean "proof-30m-sea"?`) || strings.Contains(err.Error(), "\n") {
		t.Errorf("got %v", err)
	}
	if _, err := Load("nowhere.toml"); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("got %v", err)
	}
	if _, err := Load("../builtin/proof-30m-sea"); err == nil {
		t.Error("a path was taken for a built-in name")
	}
}

func TestLimitsByTheDiveBecomeLimitsByTheHour(t *testing.T) {
	text := strings.Replace(good, "leak_ml_per_h = 0.5\nmoisture_mg_per_h = 2.0", "dive_min = 45\nleak_drops_per_dive = 3\nmoisture_mg_per_dive = 3", 1)
	p, err := Parse("p.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	// 3 drops of 0.05 ml in 45 min, 3 mg in 45 min.
	var worst float64
	near(t, &worst, p.Accept.LeakMLPerH, 0.2, 1e-12, "leak")
	near(t, &worst, p.Accept.MoistureMGPerH, 4, 1e-12, "moisture")
}

func TestTheHashIsOfWhatAProfileAsksFor(t *testing.T) {
	p, err := Parse("p.toml", []byte(good))
	if err != nil {
		t.Fatal(err)
	}
	same, err := Parse("q.toml", []byte("# a comment\n"+strings.Replace(good, "depth_m = 3.0", "depth_m   = 3", 1)))
	if err != nil || same.Hash() != p.Hash() {
		t.Errorf("blanks and comments changed the hash: %v", err)
	}
	spelt, err := Parse("q.toml", []byte(strings.Replace(good, `"sea"`, `"Sea"`, 1)))
	if err != nil || spelt.Hash() != p.Hash() {
		t.Errorf("another spelling of the model changed the hash: %v", err)
	}
	for _, c := range [][2]string{{"37.5", "37.6"}, {`"proof"`, `"deep"`}, {"cycles = 1", "cycles = 2"}, {"2.0", "2.1"}, {"58.0", "57.0"}} {
		other, err := Parse("q.toml", []byte(strings.Replace(good, c[0], c[1], 1)))
		if err != nil || other.Hash() == p.Hash() {
			t.Errorf("%v: %v, or the hash is the same", c, err)
		}
	}
	if want := "name = \"trial\"\nwater.model = \"sea\"\nwater.salinity_gkg = 35\n"; !strings.HasPrefix(p.Canonical(), want) {
		t.Errorf("canonical text %s", p.Canonical())
	}
	// A hash that stands in old records must not change with the program.
	const known = "0f92505de7e5c6a6d6a62e05ca36f800e50e815dda45d7aaffba91b5a62271e7"
	if p.Hash() != known {
		t.Errorf("hash %s, want %s", p.Hash(), known)
	}
}

// What run.toml keeps of a profile is the profile.
func TestAProfileThatIsWrittenAndReadBackIsTheSame(t *testing.T) {
	files, _ := filepath.Glob("testdata/*.toml")
	for _, name := range append(BuiltIn(), files...) {
		p, err := Load(name)
		if err != nil {
			t.Fatal(err)
		}
		p.Water.Layers = []Layer{{10, 3, 4}, {20, 5, 6}}
		p.Accept.DiveMin, p.Accept.LeakDropsPerDive = 45, 0.75*p.Accept.LeakMLPerH/DropML
		text, err := toml.Marshal(p)
		if err != nil {
			t.Fatal(err)
		}
		back, err := Parse(name, text)
		if err != nil || back.Hash() != p.Hash() || !reflect.DeepEqual(back, p) {
			t.Errorf("%s: %v\n%+v\n%+v", name, err, p, back)
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(good))
	for _, name := range BuiltIn() {
		data, _ := Source(name)
		f.Add(data)
	}
	for _, file := range []string{"every-kind"} {
		data, err := os.ReadFile("testdata/" + file + ".toml")
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := Parse("p.toml", data)
		if err != nil {
			var e *strict.Error
			if !errors.As(err, &e) || strings.ContainsAny(err.Error(), "\n\r") {
				t.Fatalf("error %T %q", err, err)
			}
			return
		}
		if _, err := NewColumn(p.Water); err != nil {
			t.Fatalf("a profile whose water has no column was accepted: %v", err)
		}
		if !(p.ProofFactor >= 1 && p.RampMPerMin > 0 && len(p.Stages) > 0 && p.DeepestM() <= MaxDepthM && p.RatedM() <= p.DeepestM()) || len(p.Hash()) != 64 {
			t.Fatalf("accepted %+v", p)
		}
		if p.Check() != nil {
			t.Fatalf("what Parse gives does not pass Check: %v", p.Check())
		}
	})
}
