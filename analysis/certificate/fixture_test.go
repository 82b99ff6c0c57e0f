package certificate

import (
	"bufio"
	"math"
	"os"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
	"testing"
	"time"

	"proofpot/analysis"
	"proofpot/rig/setup"

	"github.com/pelletier/go-toml/v2"
)

// The readings of these fixtures are real lines of a record; every judgement in
// them (leak rates, verdicts, explanations, budget) is made up to exercise the
// certificate, and says nothing about the unit.

// recordPath finds a record of the shared corpus, or of testdata.
func recordPath(t testing.TB, suffix string) string {
	t.Helper()
	for _, root := range []string{"testdata", filepath.Join("..", "..", "..", "shared", "corpus")} {
		found, err := filepath.Glob(filepath.Join(root, "*"+suffix))
		if err != nil {
			t.Fatal(err)
		}
		if len(found) > 0 {
			return found[0]
		}
	}
	return ""
}

// readRecord reads a record as far as a picture needs it.
func readRecord(t testing.TB, dir string) (setup.Run, *analysis.Result) {
	t.Helper()
	var run setup.Run
	text, err := os.ReadFile(filepath.Join(dir, "run.toml"))
	if err != nil {
		t.Fatal(err)
	}
	if err := toml.Unmarshal(text, &run); err != nil {
		t.Fatal(err)
	}
	file, err := os.Open(filepath.Join(dir, "readings.lp"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()

	r := &analysis.Result{Verdict: analysis.Verdict{Format: 1, Record: filepath.Base(dir), Unit: run.Unit.ID,
		Integrity: analysis.Integrity{Chained: true, Intact: true}}}
	var end time.Time
	wet := false
	lines := bufio.NewScanner(file)
	for lines.Scan() {
		r.Verdict.Integrity.Lines++
		head, fields, at := splitLine(t, lines.Text())
		end = at
		add := func(curve *[]analysis.Point, field string) {
			if v, err := strconv.ParseFloat(fields[field], 64); err == nil {
				*curve = append(*curve, analysis.Point{Time: at, Value: v})
			}
		}
		c := &r.Curves
		switch strings.Split(head, ",")[0] {
		case "chamber":
			add(&c.ChamberPa, "pressure_pa")
			add(&c.GasC, "gas_c")
			add(&c.WaterC, "water_c")
		case "unit":
			add(&c.InsidePa, "pressure_pa")
			add(&c.InsideC, "temperature_c")
			add(&c.InsideRHPct, "rh_pct")
			rh, err1 := strconv.ParseFloat(fields["rh_pct"], 64)
			celsius, err2 := strconv.ParseFloat(fields["temperature_c"], 64)
			if err1 == nil && err2 == nil { // Magnus form, WMO-No. 8
				e := rh / 100 * 611.2 * math.Exp(17.62*celsius/(243.12+celsius))
				c.AbsHumidityGM3 = append(c.AbsHumidityGM3, analysis.Point{Time: at, Value: 1e3 * e / (461.5 * (celsius + 273.15))})
			}
		case "probe":
			if fields["wet"] == "true" && !wet {
				wet = true
				r.Events = append(r.Events, analysis.Event{Time: at, Kind: "wet", Text: "wet probe w1 turned wet"})
			}
		case "run":
			r.Events = append(r.Events, analysis.Event{Time: at, Kind: "run", Text: fields["text"]})
		case "stage":
			if n := len(r.Stages); n > 0 {
				r.Stages[n-1].End = at
			}
			index, _ := strconv.Atoi(strings.TrimSuffix(fields["index"], "i"))
			depth, _ := strconv.ParseFloat(fields["depth_m"], 64)
			target, _ := strconv.ParseFloat(fields["pressure_pa"], 64)
			_, kind, _ := strings.Cut(head, "kind=")
			r.Stages = append(r.Stages, analysis.StageSpan{Kind: kind, Index: index, Name: fields["name"],
				DepthM: depth, TargetPa: target, Start: at, End: at})
		}
	}
	if n := len(r.Stages); n > 0 {
		r.Stages[n-1].End = end
	}
	for _, curve := range []*[]analysis.Point{&r.Curves.ChamberPa, &r.Curves.GasC, &r.Curves.WaterC,
		&r.Curves.InsidePa, &r.Curves.InsideC, &r.Curves.InsideRHPct, &r.Curves.AbsHumidityGM3} {
		*curve = thin(*curve, 2000)
	}
	r.Curves.ChamberFittedPa = straightHolds(r)
	r.Conditions = conditionsOf(run, r)
	return run, r
}

// splitLine takes a line of line protocol apart, as far as records here need it.
func splitLine(t testing.TB, line string) (head string, fields map[string]string, at time.Time) {
	t.Helper()
	stamp := strings.LastIndexByte(line, ' ')
	head, rest, _ := strings.Cut(line[:stamp], " ")
	ns, err := strconv.ParseInt(line[stamp+1:], 10, 64)
	if err != nil {
		t.Fatal(err)
	}
	fields = map[string]string{}
	for field := range strings.SplitSeq(rest, ",") {
		name, value, _ := strings.Cut(field, "=")
		fields[name] = strings.Trim(value, `"`)
	}
	return head, fields, time.Unix(0, ns).UTC()
}

// thin keeps the least and the greatest of every so many points.
func thin(curve []analysis.Point, most int) []analysis.Point {
	if len(curve) <= most {
		return curve
	}
	size := (2*len(curve) + most - 1) / most
	var out []analysis.Point
	for from := 0; from < len(curve); from += size {
		block := curve[from:min(from+size, len(curve))]
		low, high := 0, 0
		for i, q := range block {
			if q.Value < block[low].Value {
				low = i
			}
			if q.Value > block[high].Value {
				high = i
			}
		}
		out = append(out, block[min(low, high)])
		if low != high {
			out = append(out, block[max(low, high)])
		}
	}
	return out
}

// straightHolds stands in for a tight unit: the straight line from the median
// of the first tenth of each window, level.
func straightHolds(r *analysis.Result) []analysis.Point {
	var out []analysis.Point
	for _, s := range r.Stages {
		if s.Kind != "hold" {
			continue
		}
		var first []float64
		for _, q := range r.Curves.ChamberPa {
			if !q.Time.Before(s.Start) && q.Time.Sub(s.Start) < s.End.Sub(s.Start)/10 {
				first = append(first, q.Value)
			}
		}
		if len(first) == 0 {
			continue
		}
		sort.Float64s(first)
		for k := range 20 {
			at := s.Start.Add(s.End.Sub(s.Start) / 19 * time.Duration(k))
			out = append(out, analysis.Point{Time: at, Value: first[len(first)/2]})
		}
	}
	return out
}

func conditionsOf(run setup.Run, r *analysis.Result) analysis.Conditions {
	nan := math.NaN()
	c := analysis.Conditions{RoomPa: run.Bench.RoomPa, RoomC: nan, WaterMinC: nan, WaterMaxC: nan,
		GasMinC: nan, GasMaxC: nan, PeakPa: nan, PeakDepthM: nan, SampleS: 0.5, ComplianceMLPerBar: 18.4, FreeGasML: nan}
	span := func(curve []analysis.Point, low, high *float64) {
		for _, q := range curve {
			if math.IsNaN(*low) || q.Value < *low {
				*low = q.Value
			}
			if math.IsNaN(*high) || q.Value > *high {
				*high = q.Value
			}
		}
	}
	var low float64
	span(r.Curves.ChamberPa, &low, &c.PeakPa)
	span(r.Curves.WaterC, &c.WaterMinC, &c.WaterMaxC)
	span(r.Curves.GasC, &c.GasMinC, &c.GasMaxC)
	c.PeakDepthM = (c.PeakPa - run.Bench.RoomPa) / 10070
	return c
}

// judge gives every hold a made-up result: tight, but for those from a stage on.
func judge(run setup.Run, r *analysis.Result, from int, verdict string, leak float64) {
	limit := run.Profile.Accept.LeakMLPerH
	v := &r.Verdict
	for _, s := range r.Stages {
		if s.Kind != "hold" {
			continue
		}
		h := analysis.Hold{Stage: s.Index, Name: s.Name, DepthM: s.DepthM, Start: s.Start, End: s.End, Verdict: analysis.Pass,
			LeakMLPerH:           &analysis.Interval{Estimate: 0.02 * limit, Low: -0.11 * limit, High: 0.15 * limit},
			DetectionLimitMLPerH: number(0.22 * limit)}
		if len(r.Curves.AbsHumidityGM3) > 0 {
			h.MoistureMGPerH = &analysis.Interval{Estimate: 0.03, Low: -0.05, High: 0.11}
		}
		if s.Index >= from {
			h.Verdict = verdict
			h.LeakMLPerH = &analysis.Interval{Estimate: leak, Low: 0.93 * leak, High: 1.08 * leak}
			if verdict == analysis.Inconclusive {
				h.LeakMLPerH, h.MoistureMGPerH = nil, nil
				h.DetectionLimitMLPerH = number(1.8 * limit)
				h.Reasons = []string{"71 % of the measuring window is missing: no reading from 0:58:12 to 1:08:03"}
			}
		} else {
			v.ProvedDepthM = max(v.ProvedDepthM, s.DepthM)
		}
		v.Holds = append(v.Holds, h)
	}
	v.RatedDepthM = math.Floor(v.ProvedDepthM/run.Profile.ProofFactor*10) / 10
	r.Budget = []analysis.Budget{
		{Source: "noise of the pressure", MLPerH: 0.031, Remarks: "23 Pa at 2 Hz over the window, with its autocorrelation"},
		{Source: "temperature of the gas", MLPerH: 0.022, Remarks: "0.02 K of drift left in the window"},
		{Source: "compliance", MLPerH: 0.012, Remarks: "stiffness and cushion known to 10 %"},
		{Source: "blank", MLPerH: 0.027, Remarks: "0.012 ml/h per bar, standard deviation"},
	}
	r.Explanations = []analysis.Explanation{
		{Cause: "cooling gas", For: []string{"the cushion was 1.9 K above the water at the start of the window"},
			Against: []string{"the temperature of the gas had settled to within 0.02 K"}},
		{Cause: "leak of the bench", Holds: verdict == analysis.Inconclusive, For: []string{"blank of 0.031 ml/h per bar"},
			Against: []string{"inside pressure and probe are quiet"}, Experiment: "a blank run of 30 min at 12 bar"},
	}
}

func number(v float64) *float64 { return &v }

// stageNamed finds the span of a kind and stage number.
func stageAt(r *analysis.Result, kind string, index int) analysis.StageSpan {
	for _, s := range r.Stages {
		if s.Kind == kind && s.Index == index {
			return s
		}
	}
	return analysis.StageSpan{}
}
