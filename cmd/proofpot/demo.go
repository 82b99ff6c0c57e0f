package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/pelletier/go-toml/v2"

	"proofpot/rig/setup"
)

type demoCmd struct {
	Folder string `arg:"" help:"New folder to build it in."`
	Rounds int    `help:"How many rounds of tests: 1 proofs of all units, 2 steps until they fail, 3 re-tests after repair." default:"3"`
}

// invented stands in every file of the demo.
const inventedData = "INVENTED DATA from the simulated bench: no such club, units or trips exist."

// demoVariant is a way in which the invented club builds its pods, and where the
// simulated bench makes its units fail; 0: not within its steps.
type demoVariant struct {
	name, window, seals, mode string
	failM                     []float64
}

var demoVariants = []demoVariant{
	{"A, one cord seal", "acrylic 8 mm", "one cord ring 70 × 2.5 NBR 70", "seep at %g m, 60 ml/h", []float64{14.2, 16.8, 17.5, 19.1, 20.6}},
	{"B, two cord seals", "acrylic 8 mm", "two cord rings 70 × 2.5 NBR 70", "seep at %g m, 60 ml/h", []float64{22.3, 25.1, 26.4, 28.8, 0}},
	{"C, flat gasket", "acrylic 8 mm", "flat gasket 3 mm", "burst at %g m, 900 ml/h", []float64{13.3, 15.7, 18.6, 22.9, 24.5}},
	{"D, thick window", "acrylic 12 mm", "two cord rings 70 × 2.5 NBR 70", "collapse at %g m, 6 ml", []float64{26.2, 29.3, 0, 0, 0}},
	{"E, printed thread", "acrylic 8 mm", "one cord ring 60 × 3 NBR 70", "seep at %g m, 30 ml/h", []float64{13.6, 17.2, 23.4, 0}},
}

const demoHead = `# ` + inventedData + `
name = %q
water = { model = "fresh", temperature_c = 12.0, salinity_gkg = 0.0, latitude_deg = 47.0 }
proof_factor = 1.25
ramp_m_per_min = 20.0
`

const demoStage = `[[stage]]
name = "%d m"
depth_m = %d.0
settle_s = 120
hold_s = 300
`

const demoAccept = `[accept]
leak_ml_per_h = 2.0
`

// Run builds the season of an invented club: its units, 60 records from the
// simulated bench, two trips.
func (c *demoCmd) Run(w *world) error {
	if c.Rounds < 1 || c.Rounds > 3 {
		return fmt.Errorf("--rounds %d: want 1 to 3", c.Rounds)
	}
	if _, err := os.Stat(c.Folder); err == nil {
		return fmt.Errorf("%s exists already; name a new folder", c.Folder)
	}
	records, sheets := filepath.Join(c.Folder, "records"), filepath.Join(c.Folder, "units")
	if err := os.MkdirAll(sheets, 0o777); err != nil {
		return err
	}
	steps := fmt.Sprintf(demoHead, "steps-to-30m-fresh")
	for d := 9; d <= 30; d += 3 {
		steps += fmt.Sprintf(demoStage, d, d)
	}
	files := map[string]string{
		"INVENTED-DATA.txt": inventedData + "\n",
		"steps.toml":        steps + demoAccept,
		"proof.toml":        fmt.Sprintf(demoHead, "proof-10m-fresh-demo") + fmt.Sprintf(demoStage, 3, 3) + fmt.Sprintf(demoStage, 12, 12) + demoAccept,
	}
	for name, text := range demoTrips {
		files[name] = "# " + inventedData + "\n" + text
	}
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(c.Folder, name), []byte(text), 0o666); err != nil {
			return err
		}
	}
	made := 0
	for round := 1; round <= c.Rounds; round++ {
		n := 0
		for _, v := range demoVariants {
			for k, fails := range v.failM {
				n++
				unit := fmt.Sprintf("KP-%02d", n)
				if round == 2 && (v.name[0] == 'E' && k == 3 || v.name[0] == 'D' && k == 4) || round == 3 && (fails == 0 || k >= 3) {
					continue
				}
				sheet := filepath.Join(sheets, fmt.Sprintf("%s-closure-%d.toml", unit, round))
				if err := demoUnit(sheet, unit, v, round); err != nil {
					return err
				}
				profile := "proof.toml"
				begin := demoStart.AddDate(0, round-1, n/6).Add(time.Duration(n%6) * 2 * time.Hour)
				args := []string{"run", "--unit", sheet, "--records", records, "--seed", fmt.Sprint(100*round + n), "--begin", begin.Format(time.RFC3339)}
				if round == 2 {
					profile = "steps.toml"
				}
				if fails > 0 && round < 3 {
					args = append(args, "--unit-fault", fmt.Sprintf(v.mode, fails))
				}
				quiet := *w
				quiet.out, quiet.errs, quiet.inTTY, quiet.errTTY = io.Discard, io.Discard, false, false
				if code := run(quiet, append(args, filepath.Join(c.Folder, profile))); code != exitDone && code != exitNo {
					return coded{code, fmt.Errorf("round %d: the test of %s ended with exit code %d", round, unit, code)}
				}
				made++
				if err := demoLog(&quiet, c.Folder, sheet, filepath.Join(records, begin.Format("20060102T150405Z")+"-"+unit)); err != nil {
					return err
				}
			}
		}
		fmt.Fprintf(w.errs, "round %d of %d: %d records\n", round, c.Rounds, made)
	}
	if c.Rounds == 3 {
		if err := demoSummer(w, c.Folder); err != nil {
			return err
		}
	}
	fmt.Fprintf(w.out, "%s\n%d records of 24 units in %s\nproofpot compare --records %s --pictures %s\n%s\n",
		inventedData, made, records, records, filepath.Join(c.Folder, "pictures"), c.Folder)
	return nil
}

func demoUnit(file, id string, v demoVariant, closure int) error {
	unit := setup.Unit{ID: id, Variant: v.name, OuterVolumeML: 920, FreeVolumeML: 520, SealedC: 18, Material: "PETG, 6 walls, epoxy coat",
		Window: v.window, Seals: v.seals, ClosedBy: "bench team", ClosedOn: fmt.Sprintf("2026-0%d-12", closure+2), Cells: "none",
		Notes: inventedData + fmt.Sprintf(" Closure %d.", closure)}
	data, err := toml.Marshal(unit)
	if err != nil {
		return err
	}
	return os.WriteFile(file, data, 0o666)
}
