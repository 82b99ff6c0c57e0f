package characterise

import (
	"math"
	"math/rand/v2"
	"testing"

	"proofpot/profiles/water"
)

const room = 101300.0

// potWith gives points of a pot of 12 l of water with gas and walls, worked out
// here by Boyle's law and the water's own compressibility, not by the fit's
// formula: the water at each pressure from its specific volume.
func potWith(gasML, wallMLPerBar float64, bars []float64) (points []VolumePoint, mlPerBar float64) {
	w := water.FreshIsotherm(18)
	const waterML = 12000.0
	for _, bar := range bars {
		pa := room + bar*1e5
		gas := gasML - gasML*room/pa
		squeezed := waterML * (1 - w.SpecificVolume(pa)/w.SpecificVolume(room))
		points = append(points, VolumePoint{Pa: pa, ML: gas + squeezed + wallMLPerBar*bar})
	}
	return points, wallMLPerBar + waterML*w.Compressibility(room+3e5)*1e5
}

func TestStiffnessAndFreeGasComeOutOfThePointsOfAPot(t *testing.T) {
	bars := []float64{0, 0.5, 1, 1.5, 2, 3, 4, 5, 6}
	for _, c := range []struct{ gas, wall float64 }{{20, 0.5}, {80, 0.6}, {300, 0.6}, {1000, 2}} {
		points, stiff := potWith(c.gas, c.wall, bars)
		got, err := FitCompliance(points, room)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(got.GasML-c.gas) > 0.02 || math.Abs(got.MLPerBar-stiff) > 0.01 {
			t.Errorf("%g ml of gas, %.3f ml/bar: found %s", c.gas, stiff, got)
		}
	}
}

func TestTheIntervalsHoldTheTruthWhenACupIsWeighedBadly(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	in, all := 0, 0
	for range 400 {
		points, stiff := potWith(120, 0.8, []float64{0, 1, 2, 3, 4, 5, 6})
		for i := range points {
			points[i].ML += 0.3*r.NormFloat64() + 5 // and a hose that held 5 ml
		}
		got, err := FitCompliance(points, room)
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range []float64{(got.GasML - 120) / got.GasSD, (got.MLPerBar - stiff) / got.SD} {
			all++
			// Student's t for 7 − 3 degrees of freedom: 2.776 (JCGM 100:2008, table G.2).
			if math.Abs(x) <= 2.776 {
				in++
			}
		}
	}
	if share := float64(in) / float64(all); share < 0.92 || share > 0.98 {
		t.Errorf("%.1f %% of 95 %% intervals hold the truth", 100*share)
	}
}

func TestPointsThatCannotTellAreRefused(t *testing.T) {
	good, _ := potWith(100, 1, []float64{0, 1, 2, 3, 4, 5})
	narrow, _ := potWith(100, 1, []float64{2, 2.05, 2.1, 2.15, 2.2, 2.25})
	gauge := append([]VolumePoint{}, good...)
	gauge[0].Pa -= room
	for name, points := range map[string][]VolumePoint{"four points": good[:4], "a narrow range": narrow, "gauge for absolute": gauge} {
		if c, err := FitCompliance(points, room); err == nil {
			t.Errorf("%s give %s", name, c)
		}
	}
	bent := append([]VolumePoint{}, good...)
	for i := range bent {
		bent[i].U = 0.1
	}
	bent[3].ML += 3
	if c, err := FitCompliance(bent, room); err != nil || !c.Bent {
		t.Errorf("gas that went in half-way: %+v, %v", c, err)
	}
	if c, _ := FitCompliance(good, room); c.At(3e5, room) < c.MLPerBar || c.FreeShare(12000) > 0.01 {
		t.Errorf("%+v", c)
	}
}
