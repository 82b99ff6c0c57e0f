// Package screen is the live view of a run in a terminal: what the page shows,
// in 80 by 24 characters and up, over a slow line too. A frame is a pure function
// of what the run says and of the time.
package screen

import (
	"fmt"
	"math"
	"strings"
	"time"
	"unicode/utf8"

	"proofpot/cmd/proofpot/page"
	"proofpot/rig"
)

// State is all that a frame shows.
type State struct {
	Ladder *page.Ladder
	Now    *page.Now
	Events []page.Event
	Age    time.Duration // since Now came in, by this machine's clock
	Typing *string       // a note that is being typed; nil: none
	Said   string        // an answer to the last key
}

// staleAfter is how old what is shown may be before it is struck out.
const staleAfter = 3 * time.Second

// Frame draws the state. Every line fits the width; there are at most height.
func Frame(s *State, width, height int) string {
	width, height = max(width, 40), max(height, 12)
	f := &frame{width: width}
	if s.Now == nil || s.Ladder == nil {
		f.line("Waiting for the first reading …")
		return f.text(height, nil)
	}
	n, l := s.Now, s.Ladder
	stale := !n.Done && (s.Age > staleAfter || n.Stale || n.PaAgeS == nil || *n.PaAgeS+s.Age.Seconds() > staleAfter.Seconds())
	f.ends(fmt.Sprintf("bench %s · unit %s · %s", l.Bench, join(", ", l.Unit, l.Variant), l.Profile), n.Wall[11:min(19, len(n.Wall))]+" UTC")
	f.safety(n)
	f.figures(n, stale, s.Age)
	f.line("")
	f.stage(l, n)
	if n.Prompt != nil {
		f.wish(n)
	}
	f.leak(l, n)
	f.inside(n)
	f.sensors(n)
	f.ladder(l, n)
	var foot []string
	if s.Typing != nil {
		foot = append(foot, f.cut("note: "+*s.Typing+"▏   (Enter records it, Esc leaves it)"))
	} else {
		keys := "a STOP AND VENT   p pause   s end this wait   n note"
		if n.Paused {
			keys = "a STOP AND VENT   p go on   n note"
		}
		if n.Prompt != nil && n.Prompt.Answer {
			keys = "Enter done   " + keys
		}
		foot = append(foot, f.cut(keys))
	}
	if s.Said != "" {
		foot = append(foot, f.cut(s.Said))
	}
	room := height - len(f.lines) - len(foot)
	for i := max(0, len(s.Events)-room); i < len(s.Events); i++ {
		e := s.Events[i]
		mark := ""
		if e.Kind == "fault" {
			mark = "FAULT "
		}
		f.line(clock(e.Seconds) + "  " + mark + e.Text)
	}
	return f.text(height, foot)
}

type frame struct {
	width int
	lines []string
}

// text joins the lines, the foot at the bottom whatever has to go above it.
func (f *frame) text(height int, foot []string) string {
	if most := height - len(foot); len(f.lines) > most {
		f.lines = f.lines[:most]
	}
	for len(f.lines) < height-len(foot) {
		f.lines = append(f.lines, "")
	}
	return strings.Join(append(f.lines, foot...), "\n")
}

// cut makes a text one line of the width.
func (f *frame) cut(text string) string {
	text = strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || r >= 0x80 && r < 0xa0 || r == utf8.RuneError { // nothing of a record steers the terminal
			return '·'
		}
		return r
	}, text)
	if utf8.RuneCountInString(text) <= f.width {
		return text
	}
	return string([]rune(text)[:f.width-1]) + "…"
}

func (f *frame) line(text string) { f.lines = append(f.lines, f.cut(text)) }

// ends puts one text at the left and one at the right.
func (f *frame) ends(left, right string) {
	gap := f.width - utf8.RuneCountInString(left) - utf8.RuneCountInString(right)
	if gap < 1 {
		f.line(left)
		return
	}
	f.line(left + strings.Repeat(" ", gap) + right)
}

func (f *frame) safety(n *page.Now) {
	text, rule := "UNDER PRESSURE – DO NOT OPEN", "!"
	switch {
	case n.MayOpen:
		text, rule = "vented: pressure gone, vent open; look at the gauge, then open", "-"
	case n.Done:
		text = "NOT KNOWN TO BE VENTED – DO NOT OPEN"
	case n.EnergyJ != nil && *n.EnergyJ > 1:
		text += fmt.Sprintf(" – %.0f J stored in the gas", *n.EnergyJ)
	}
	side := strings.Repeat(rule, max(3, (f.width-utf8.RuneCountInString(text)-2)/2))
	f.line(side + " " + text + " " + side)
}

// figures shows depth and pressure large; what is old is struck out and says so.
func (f *frame) figures(n *page.Now, stale bool, age time.Duration) {
	depth, pressure := "-", "no reading"
	if n.DepthM != nil {
		depth = fmt.Sprintf("%.2f", plain(*n.DepthM, 100))
	}
	if n.Pa != nil {
		pressure = fmt.Sprintf("%.3f bar gauge", plain((*n.Pa-n.RoomPa)/1e5, 1000))
	}
	rows := large(depth)
	beside := []string{"", " m", "", " " + pressure, " fresh"}
	if stale {
		old := age.Seconds()
		if n.PaAgeS != nil {
			old += *n.PaAgeS
		}
		beside[4] = fmt.Sprintf(" %.0f s OLD", old)
		for i, r := range rows {
			rows[i] = strings.ReplaceAll(r, "█", "░")
		}
	} else if n.Done {
		beside[4] = " last reading of the run"
	}
	for i := range rows {
		f.line("  " + rows[i] + beside[i])
	}
}

func (f *frame) stage(l *page.Ladder, n *page.Now) {
	words := map[string]string{"ready": "Getting ready", "ramp": "Ramp", "settle": "Settling", "hold": "Measuring", "vent": "Venting", "done": "Ended"}[n.Phase]
	if n.Leg < len(l.Rungs) && n.Phase != "vent" && n.Phase != "done" {
		g := l.Rungs[n.Leg]
		words += fmt.Sprintf(": %s, %.1f m", g.Name, g.DepthM)
	}
	if n.Paused {
		words += " (paused)"
	}
	if n.LeftS != nil {
		words += "   " + clock(*n.LeftS) + " left"
	}
	if n.EndsS != nil {
		words += "   run ends in " + clock(*n.EndsS)
	}
	if n.Stopped != "" {
		words = "STOPPED: " + n.Stopped
	}
	f.line(words)
}

func (f *frame) wish(n *page.Now) {
	w := n.Prompt
	text := ">>> " + strings.ToUpper(w.Text)
	if pa := w.TargetPa - n.RoomPa; w.TargetPa > 0 && pa > -1e3 {
		text += fmt.Sprintf(": to %.2f bar gauge (%.1f m), at most %.1f bar/min", math.Max(0, pa)/1e5, w.DepthM, w.RatePaS*60/1e5)
	}
	f.line(text)
	if w.TargetPa > n.RoomPa && (w.Kind == uint8(rig.PumpUp) || w.Kind == uint8(rig.SlowDown)) {
		f.line(fmt.Sprintf("    stop at %.2f bar on the chamber's own gauge too, and at once when the clock above stands still", (w.TargetPa-n.RoomPa)/1e5))
	}
}

// leak shows the estimate with its bounds on a scale with the limit.
func (f *frame) leak(l *page.Ladder, n *page.Now) {
	if n.Leak == nil {
		f.line("leak: judged while the chamber is shut")
		f.line("")
		return
	}
	verdict := "not decided yet"
	switch {
	case l.LeakLimit > 0 && n.Leak.High < l.LeakLimit:
		verdict = "below the limit"
	case l.LeakLimit > 0 && n.Leak.Low > l.LeakLimit:
		verdict = "ABOVE THE LIMIT"
	}
	text := fmt.Sprintf("leak %.2f ml/h (%.2f to %.2f), limit %.2f: %s", n.Leak.Estimate, n.Leak.Low, n.Leak.High, l.LeakLimit, verdict)
	if n.Detection != nil {
		text += fmt.Sprintf("; detectable %.2f", *n.Detection)
	}
	f.line(text)
	f.line(scale(n.Leak.Low, n.Leak.Estimate, n.Leak.High, l.LeakLimit, min(f.width-4, 76)))
}

// scale draws an interval: = between the bounds, o the estimate, 0 and L where
// nothing and the limit lie.
func scale(low, at, high, limit float64, width int) string {
	most := math.Max(2*limit, 1.3*math.Abs(at))
	if limit == 0 {
		most = math.Max(most, math.Abs(high))
	}
	if !(most > 0) || math.IsInf(most, 0) {
		return ""
	}
	place := func(v float64) int {
		return int(math.Round(math.Min(1, math.Max(0, (v+most/2)/(1.5*most))) * float64(width-1)))
	}
	row := []rune(strings.Repeat("·", width))
	for i := place(low); i <= place(high); i++ {
		row[i] = '='
	}
	row[place(0)] = '0'
	if limit > 0 {
		row[place(limit)] = 'L'
	}
	row[place(at)] = 'o'
	return "  " + string(row)
}

func (f *frame) inside(n *page.Now) {
	var parts []string
	if n.InsideRH != nil {
		parts = append(parts, fmt.Sprintf("%.1f %%RH", *n.InsideRH))
	}
	if n.InsideC != nil {
		parts = append(parts, fmt.Sprintf("%.1f °C", *n.InsideC))
	}
	if n.InsidePa != nil {
		parts = append(parts, fmt.Sprintf("%.2f mbar", *n.InsidePa/100))
	}
	if n.MarginK != nil {
		parts = append(parts, fmt.Sprintf("dew point %.1f K below the water", *n.MarginK))
	}
	if len(parts) > 0 {
		f.line("inside: " + strings.Join(parts, ", "))
	}
}

func (f *frame) sensors(n *page.Now) {
	var parts, ill []string
	for _, s := range n.Sensors {
		switch {
		case s.Fault != "":
			ill = append(ill, fmt.Sprintf("%s %s %s, %.0f s", s.Sensor, s.Quantity, s.Fault, s.AgeS))
		case s.Stale:
			ill = append(ill, fmt.Sprintf("%s %s silent for %.0f s", s.Sensor, s.Quantity, s.AgeS))
		case s.TwoState && s.Value != nil && *s.Value != 0:
			ill = append(ill, s.Sensor+" "+map[string]string{"wet probe": "WET", "lid switch": "LID OPEN", "emergency stop": "STOP PRESSED", "float switch": "FLOAT"}[s.Quantity])
		}
	}
	if n.Valves {
		word := map[bool]string{true: "open", false: "shut"}
		parts = append(parts, "fill "+word[n.Fill], "vent "+word[n.Vent])
	}
	if n.UnsyncedMS != nil && *n.UnsyncedMS > 1000 {
		ill = append(ill, fmt.Sprintf("record unsynced for %.0f ms", *n.UnsyncedMS))
	}
	if len(ill) == 0 {
		parts = append(parts, "all sensors well")
	}
	f.line(strings.Join(append(parts, ill...), " · "))
}

func (f *frame) ladder(l *page.Ladder, n *page.Now) {
	var parts []string
	first := max(0, n.Leg-1)
	for i := first; i < len(l.Rungs); i++ {
		g, mark := l.Rungs[i], " "
		over := n.Done || n.Phase == "vent"
		if i < n.Leg || over && n.Stopped == "" {
			mark = "✓"
		} else if over {
			mark = "✗" // not run, or not to its end
		} else if i == n.Leg {
			mark = "▶"
		}
		parts = append(parts, fmt.Sprintf("%s%s %.1f m", mark, g.Name, g.DepthM))
	}
	f.line(strings.Join(parts, "  "))
	f.line("")
}

func join(sep string, parts ...string) string {
	var kept []string
	for _, p := range parts {
		if p != "" {
			kept = append(kept, p)
		}
	}
	return strings.Join(kept, sep)
}

// plain rounds for a gauge: no minus before a zero.
func plain(v, per float64) float64 { return math.Round(v*per)/per + 0 }

func clock(s float64) string {
	n := int(math.Max(0, math.Round(s)))
	if n >= 3600 {
		return fmt.Sprintf("%d:%02d:%02d", n/3600, n/60%60, n%60)
	}
	return fmt.Sprintf("%d:%02d", n/60, n%60)
}

// large writes figures five lines high, to be read from across a room.
func large(text string) [5]string {
	var rows [5]string
	for _, r := range text {
		glyph, ok := glyphs[r]
		if !ok {
			glyph = glyphs['-']
		}
		for i := range rows {
			rows[i] += glyph[i] + "  "
		}
	}
	return rows
}

var glyphs = func() map[rune][5]string {
	drawn := map[rune]string{
		'0': "###|# #|# #|# #|###", '1': " # |## | # | # |###", '2': "###|  #|###|#  |###", '3': "###|  #|###|  #|###", '4': "# #|# #|###|  #|  #",
		'5': "###|#  |###|  #|###", '6': "###|#  |###|# #|###", '7': "###|  #| # | # | # ", '8': "###|# #|###|# #|###", '9': "###|# #|###|  #|###",
		'.': " | | | |#", '-': "   |   |###|   |   ",
	}
	all := map[rune][5]string{}
	for r, text := range drawn {
		var g [5]string
		for i, row := range strings.Split(text, "|") {
			g[i] = strings.ReplaceAll(strings.ReplaceAll(row, "#", "██"), " ", "  ")
		}
		all[r] = g
	}
	return all
}()
