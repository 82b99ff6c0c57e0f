package plan

import (
	"fmt"
	"math"
	"strings"
	"text/tabwriter"
	"time"

	"proofpot/profiles/depth"
)

// Text words a plan for a person: stages, pressures and times, what is stored,
// what the wall carries, what each hold can prove, and the findings. start is
// when the run would begin; the zero time leaves the end out.
func (p *Plan) Text(start time.Time) string {
	var b strings.Builder
	pr := p.Profile
	fmt.Fprintf(&b, "%s", pr.Name)
	if pr.Purpose != "" {
		fmt.Fprintf(&b, ": %s", pr.Purpose)
	}
	fmt.Fprintln(&b)
	if conditions, err := depth.Conditions(pr.Water); err == nil {
		fmt.Fprintf(&b, "Depth in %s.\n", conditions)
	}
	fmt.Fprintf(&b, "Room %.2f hPa, unit closed at %.2f hPa. Proof factor %g: rated to %.4g m when every stage passes.\n\n",
		p.Bench.RoomPa/100, p.Unit.SealedPa/100, pr.ProofFactor, pr.RatedM())
	p.stages(&b)
	fmt.Fprintf(&b, "\nTotal %s", shortTime(p.Total.Round(time.Minute)))
	if p.TotalMax > p.Total {
		fmt.Fprintf(&b, ", at most %s", shortTime(p.TotalMax.Round(time.Minute)))
	}
	if !start.IsZero() {
		fmt.Fprintf(&b, "; ends at %s", start.Add(p.Total).Format("2006-01-02 15:04"))
	}
	fmt.Fprintln(&b, ".")
	if p.PeakPa > p.Bench.RoomPa {
		p.stored(&b)
	}
	if len(p.Loads) > 0 {
		p.carried(&b)
	}
	p.proved(&b)
	p.accepted(&b)
	for _, f := range p.Findings {
		fmt.Fprintf(&b, "\n%s: %s.\n", f.Weight, f.Text)
	}
	return b.String()
}

func (p *Plan) stages(b *strings.Builder) {
	t := tabwriter.NewWriter(b, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "stage\tkind\tdepth\tgauge\tabsolute\tramp\tsettle\thold\tfrom")
	shown := -1
	for i, l := range p.Legs {
		if l.Stage == shown {
			continue
		}
		shown = l.Stage
		times := 0
		for _, m := range p.Legs[i:] {
			if m.Stage == l.Stage {
				times++
			}
		}
		settle := shortTime(l.Settle)
		if l.SettleMax > l.Settle {
			settle += " to " + shortTime(l.SettleMax)
		}
		name := l.Name
		if n := max(p.Profile.Stages[l.Stage].Cycles, 1); n > 1 {
			name += fmt.Sprintf(" ×%d", n)
		} else if times > 1 {
			name += fmt.Sprintf(" (%d steps)", times)
		}
		fmt.Fprintf(t, "%s\t%s\t%.2f m\t%.3f bar\t%.3f bar\t%s\t%s\t%s\t%s\n", name, l.Kind, l.DepthM, (l.GaugePa-l.VacuumPa)/1e5, l.AbsolutePa/1e5,
			shortTime(l.Ramp), settle, shortTime(l.Hold), shortTime(l.Start))
	}
	fmt.Fprintf(t, "vent\t\t0 m\t0 bar\t%.3f bar\t%s\n", p.Bench.RoomPa/1e5, shortTime(p.Vent))
	t.Flush()
}

func (p *Plan) stored(b *strings.Builder) {
	bench, e := p.Bench, p.Energy
	fmt.Fprintf(b, "\nHighest pressure %.3f bar gauge", (p.PeakPa-bench.RoomPa)/1e5)
	if p.LimitPa > 0 {
		fmt.Fprintf(b, "; the bench may go to %.3f bar gauge (90 %% of the lower of its rating %.2f and its relief setting %.2f)",
			(p.LimitPa-bench.RoomPa)/1e5, (bench.RatedPa-bench.RoomPa)/1e5, max(bench.ReliefPa-bench.RoomPa, 0)/1e5)
	}
	fmt.Fprintf(b, ".\nStored there: %s in %.0f ml of gas (%.2g g of TNT by the same article), %s in water and walls (%s in the water alone)",
		Joules(e.GasJ), e.GasML, e.TNTg, Joules(e.ElasticJ), Joules(e.WaterJ))
	if e.VoidJ > 0 {
		fmt.Fprintf(b, ", %s in a void of %.0f ml that collapses", Joules(e.VoidJ), p.Unit.FreeML)
	}
	if e.LidN > 0 {
		fmt.Fprintf(b, ". Force on the lid of %.0f mm: %.1f kN.\n", p.Bench.LidMM, e.LidN/1000)
	} else {
		fmt.Fprintln(b, ". Force on the lid: not known without lid_diameter_mm in the bench's file.")
	}
}

func (p *Plan) carried(b *strings.Builder) {
	fmt.Fprintln(b, "\nWhat the unit's wall carries (outside less inside; negative pushes outward):")
	t := tabwriter.NewWriter(b, 0, 0, 2, ' ', 0)
	for _, l := range p.Loads {
		fmt.Fprintf(t, "  %+.3f bar\t%+.2f m\t%s\n", l.Pa/1e5, l.Depth, l.Where)
	}
	t.Flush()
	if ratio := p.SealIn(); ratio > 0 {
		fmt.Fprintf(b, "The deepest stage loads the wall %.3f times as much as the dive at the rated depth (closed at %.0f hPa and %g °C, water of %g °C below %.0f hPa).\n",
			ratio, p.Unit.SealedPa/100, p.Unit.SealedC, p.Column.Water.TemperatureC, p.Column.SurfacePa/100)
	}
}

func (p *Plan) proved(b *strings.Builder) {
	if len(p.Proofs) == 0 {
		return
	}
	fmt.Fprintln(b, "\nWhat each hold can tell from no leak (3.29 standard uncertainties):")
	t := tabwriter.NewWriter(b, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "  stage\thold\tdetects\tlimit\thold needed\tmost of its doubt\tmost would help")
	for _, q := range p.Proofs {
		need, most, help := "-", "-", "-"
		if q.Needed > 0 {
			need = shortTime(q.Needed)
		}
		if len(q.Budget) > 0 {
			most = q.Budget[0].What
		}
		if len(q.Changes) > 0 {
			help = fmt.Sprintf("%s: %.2g ml/h", q.Changes[0].What, q.Changes[0].MLPerH)
		}
		limit := "not judged"
		if q.LimitMLPerH > 0 {
			limit = fmt.Sprintf("%.2g ml/h", q.LimitMLPerH)
		}
		fmt.Fprintf(t, "  %s\t%s\t%.2g ml/h\t%s\t%s\t%s\t%s\n", q.Leg.Name, shortTime(q.Leg.Hold), q.DetectMLPerH, limit, need, most, help)
	}
	t.Flush()
	if last := p.Proofs[len(p.Proofs)-1]; !math.IsInf(last.DetectMGPerH, 1) {
		fmt.Fprintf(b, "Moisture inside: the last hold tells %.2g mg/h from none.\n", last.DetectMGPerH)
	}
}

// accepted words the limits of acceptance in every term.
func (p *Plan) accepted(b *strings.Builder) {
	a, u := p.Profile.Accept, p.Unit
	if u.FreeML <= 0 || a.LeakMLPerH <= 0 && a.MoistureMGPerH <= 0 {
		return
	}
	v := u.void(p.Profile)
	fmt.Fprintf(b, "\nThe limits of acceptance in other terms, for a dive of %g min in water of %g °C, %.0f ml of air closed at %g °C and %.0f %% humidity:\n",
		v.DiveMin, v.WaterC, v.FreeML, v.SealedC, v.HumidityRH)
	t := tabwriter.NewWriter(b, 0, 0, 2, ' ', 0)
	line := func(name string, x Terms) {
		dives := fmt.Sprintf("fogs after %.2g dives", x.DivesToFog)
		switch {
		case x.DivesToFog == 0:
			dives = "fogs as it is closed"
		case math.IsInf(x.DivesToFog, 1):
			dives = "never fogs"
		}
		fmt.Fprintf(t, "  %s\t%.3g ml/h\t%.3g ml a dive\t%.3g drops a dive\t%.3g mg a dive\t%+.2g Pa/h inside\t%s\n",
			name, x.MLPerH, x.MLPerDive, x.DropsPerDive, x.MGPerDive, x.RisePaPerH, dives)
	}
	if a.LeakMLPerH > 0 {
		line("leak", v.Liquid(a.LeakMLPerH))
	}
	if a.MoistureMGPerH > 0 {
		line("moisture", v.Moisture(a.MoistureMGPerH))
	}
	t.Flush()
}
