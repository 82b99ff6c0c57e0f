package main

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"proofpot/analysis/characterise"
	"proofpot/profiles"
	"proofpot/rig/record"
	"proofpot/rig/setup"
	"proofpot/rig/simbench"
	"proofpot/rig/simbench/inmemory"
)

const waterFedBench = `
id = "pot-6"
hand_operated = true # for the file alone: the record is of its valves
medium = "water"
supply = "water"
chamber_volume_ml = 12000
gas_cushion_ml = 50
stiffness_ml_per_bar = 1.5
rated_bar_gauge = 7.0
relief_bar_gauge = 6.0
room_pa = 101300
[[sensor]]
id = "p1"
measures = "chamber pressure"
driver = "serial-line"
port = "port"
baud = 9600
line = "key-value"
[[sensor.field]]
from = "p_bar"
unit = "bar"
reference = "absolute"
`

// TestAFillInStepsAndOneWeighingAreKeptAsTheStiffness: a run up in six steps on the
// simulated bench, fed with water, and the weight of what its vent let out. The file
// holds what the bench truly has, within what it says of it.
func TestAFillInStepsAndOneWeighingAreKeptAsTheStiffness(t *testing.T) {
	sheet := setup.Run{Format: setup.RunFormat, Bench: characterise.WithoutUnit(simbench.BuiltInBench()), Unit: setup.Unit{ID: "blank"}}
	sheet.Bench.ID, sheet.Bench.Supply, sheet.Bench.GasCushionML, sheet.Bench.StiffnessMLPerBar = "pot-6", setup.SupplyWater, 50, 1.5
	sheet.Bench.ReliefPa, sheet.Bench.RatedPa = sheet.Bench.RoomPa+6e5, sheet.Bench.RoomPa+7e5
	sheet.Profile = profiles.Profile{Name: "steps", ProofFactor: 1, RampMPerMin: 10, Accept: profiles.Accept{LeakMLPerH: 1},
		Water: profiles.Water{Model: "fresh", TemperatureC: 18, LatitudeDeg: 47}}
	for _, depth := range []float64{3, 8, 14, 21, 29, 38} {
		sheet.Profile.Stages = append(sheet.Profile.Stages, profiles.Stage{Name: fmt.Sprintf("%g m", depth), DepthM: depth, SettleS: 180, HoldS: 60})
	}
	cfg := simbench.Default(sheet, 1)
	ran, err := inmemory.Run(sheet, cfg, inmemory.Options{Sealed: true})
	if err != nil || ran.Ended != nil {
		t.Fatal(err, ran.Ended)
	}
	t.Chdir(t.TempDir())
	folder, file, err := record.Create("records", inmemory.Start, ran.Sheet)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := file.Write(ran.Record); err != nil {
		t.Fatal(err)
	}
	if err := file.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile("bench.toml", []byte(waterFedBench), 0o666); err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	do := func(g float64) int {
		out.Reset()
		return run(world{ctx: context.Background(), in: strings.NewReader(""), out: &out, errs: &out}, []string{"stiffness", "--from", folder,
			"--weighed-g", fmt.Sprintf("%.1f", g), "--supply-bar", fmt.Sprintf("%.2f", (cfg.Supply.Pa-ran.Sheet.Bench.RoomPa)/1e5), "--bench", "bench.toml"})
	}
	grams := ran.Truth.WaterOutML * 0.999 // of water at 15 °C
	if code := do(grams); code != exitDone {
		t.Fatalf("exit code %d\n%s", code, out.String())
	}
	m, err := setup.LoadMeasured("bench.toml")
	if err != nil || m.Stiffness == nil {
		t.Fatal(err, m, out.String())
	}
	trueGas := ran.Before.CushionML
	trueStiff := ran.Before.ComplianceMLPerBar - trueGas/ran.Before.ChamberPa*1e5
	t.Logf("%+v; in truth %.3f ml/bar and %.1f ml", *m.Stiffness, trueStiff, trueGas)
	if s := m.Stiffness; s.How != "fill" || math.Abs(s.MLPerBar-trueStiff) > 2.776*s.SDMLPerBar || math.Abs(s.GasML-trueGas) > 2.776*s.SDGasML {
		t.Errorf("kept %+v; in truth %.3f ml/bar and %.1f ml", *s, trueStiff, trueGas)
	}
	// Half the water was spilt: what is kept is another gas, and not the true one.
	if code := do(grams / 2); code == exitDone {
		if m, err = setup.LoadMeasured("bench.toml"); err != nil || math.Abs(m.Stiffness.GasML-trueGas) < 3*m.Stiffness.SDGasML {
			t.Errorf("half the weight gives the same: %+v, %v", m.Stiffness, err)
		}
	}
}
