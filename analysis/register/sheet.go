package register

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"proofpot/analysis/certificate/paper"
)

// Text writes the answers of a trip for a terminal or a plain file.
func Text(w io.Writer, t *Trip, answers []Answer, slots []Slot, total time.Duration) {
	fmt.Fprintf(w, "%s: departure %s, %d days, %s of %.0f °C\n", t.Name, t.Departure.UTC().Format(time.DateOnly), t.Days, t.Water.Kind(), t.Water.TemperatureC)
	for _, a := range answers {
		fmt.Fprintf(w, "\n%s: %s, for %s\n", a.Need.ID, strings.ToUpper(string(a.Fitness)), a.Need.words())
		for _, line := range a.lines() {
			fmt.Fprintf(w, "  %s\n", line)
		}
	}
	if len(slots) > 0 {
		fmt.Fprintf(w, "\nBench time %s, in this order (UTC):\n", hours(total))
		for _, s := range slots {
			fmt.Fprintf(w, "  %s\n", s.line())
		}
	}
}

// sentences writes lines one after the other.
func sentences(lines []string) string {
	var out []string
	for _, l := range lines {
		first, size := utf8.DecodeRuneInString(l)
		out = append(out, string(unicode.ToUpper(first))+strings.TrimSuffix(l[size:], ".")+".")
	}
	return strings.Join(out, " ")
}

// words say what is asked of a unit.
func (n Need) words() string {
	dives := fmt.Sprintf("%d dives to %.1f m of up to %.0f min", n.Dives, n.DeepestM, n.Minutes)
	if n.Dives == 1 {
		dives = fmt.Sprintf("a dive to %.1f m of %.0f min", n.DeepestM, n.Minutes)
	}
	if n.Descents > 1 {
		dives += fmt.Sprintf(", let down %d times in each", n.Descents)
	}
	return dives
}

// lines are what there is to say of a unit, in order.
func (a *Answer) lines() []string {
	out := slices.Clone(a.Why)
	for _, r := range a.Remarks {
		out = append(out, "remark: "+r)
	}
	for _, f := range a.First {
		out = append(out, "first: "+f)
	}
	switch {
	case a.Test != nil:
		out = append(out, a.Test.line())
	case a.Fitness == NotFit:
		out = append(out, "no profile that this bench can run reaches that depth")
	}
	return out
}

func (p *Proposal) line() string {
	if !p.Other {
		return fmt.Sprintf("a passed %s (rates for %.1f m of %s, takes %s) would make it fit", p.Profile, p.RatedM, p.Water, hours(p.Takes))
	}
	return fmt.Sprintf("a passed %s (rates for %.1f m of %s, which load its wall like %.1f m there; takes %s) would make it fit; no profile for the trip's kind of water does",
		p.Profile, p.RatedM, p.Water, p.ThereM, hours(p.Takes))
}

func (s Slot) line() string {
	in := "in time"
	if !s.InTime {
		in = "TOO LATE for the departure"
	}
	return fmt.Sprintf("%s  %s to %s  %s: %s", s.Unit, s.Start.UTC().Format("2006-01-02 15:04"), s.End.UTC().Format("15:04"), s.Proposal.Profile, in)
}

func hours(d time.Duration) string {
	d = d.Round(time.Minute)
	return fmt.Sprintf("%d:%02d h", int(d.Hours()), int(d.Minutes())%60)
}

// Sheet writes the answers of a trip as a PDF to print and to tick off.
func Sheet(w io.Writer, made time.Time, t *Trip, answers []Answer, slots []Slot, total time.Duration) error {
	s := paper.New(paper.Properties{Title: "Trip: " + t.Name, Subject: "Which units are fit for the trip", Creator: "proofpot", Language: "en",
		Written: made, Foot: "trip " + t.Name + ", as of " + made.UTC().Format("2006-01-02 15:04 UTC")})
	s.Font("B", 15)
	s.Text("Trip: "+t.Name, paper.Ink)
	s.Font("", 9)
	s.Text(fmt.Sprintf("Departure %s, %d days. Water: %s of %.0f °C. As of %s.", t.Departure.UTC().Format(time.DateOnly), t.Days,
		t.Water.Kind(), t.Water.TemperatureC, made.UTC().Format("2006-01-02 15:04 UTC")), paper.Ink)
	s.Space(4)
	var rows []paper.Row
	for _, a := range answers {
		rows = append(rows, paper.Row{Cells: []string{a.Need.ID, string(a.Fitness),
			a.Need.words(), ""}, Bold: []bool{true, true}})
		rows = append(rows, paper.Row{Note: sentences(a.lines())})
	}
	s.Heading("Units")
	s.Table([]paper.Column{{Title: "Unit", Share: 15}, {Title: "Answer", Share: 25}, {Title: "Dives", Share: 35}, {Title: "Packed, closed as tested (initials)", Share: 25}}, rows)
	if len(slots) > 0 {
		s.Heading("Bench time " + hours(total) + ", in this order (UTC)")
		var list []string
		for _, slot := range slots {
			list = append(list, slot.line())
		}
		s.List(list)
	}
	s.Heading("Before each dive")
	s.List([]string{
		"A result belongs to the unit as it was closed. Opened, struck, or a seal changed: it is not fit, whatever stands above.",
		"Look at seals and window, and look inside for drops, before and after.",
		"Water in a unit with cells: out of the boat and the house, away from people and anything that burns, for at least a day.",
		"No safety system: nobody's life may hang on a housing.",
	})
	_, err := s.WriteTo(w)
	return err
}
