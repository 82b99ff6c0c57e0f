package plan

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// Corner is a corner of the chamber pressure over time; between corners it is a
// straight line.
type Corner struct {
	At time.Duration
	Pa float64 // absolute
}

// Curve gives the planned chamber pressure, settlings at their floor.
func (p *Plan) Curve() []Corner {
	room := p.Bench.RoomPa
	corners := []Corner{{0, room}}
	for _, l := range p.Legs {
		corners = append(corners, Corner{l.Start + l.Ramp, l.AbsolutePa}, Corner{l.End(), l.AbsolutePa})
	}
	end := corners[len(corners)-1].At
	return append(corners, Corner{end + p.Vent, room})
}

// pressureAt gives the planned chamber pressure at a time, Pa absolute.
func pressureAt(corners []Corner, at time.Duration) float64 {
	for i := 1; i < len(corners); i++ {
		a, b := corners[i-1], corners[i]
		if at <= b.At {
			if b.At == a.At {
				return b.Pa
			}
			f := float64(at-a.At) / float64(b.At-a.At)
			return a.Pa + f*(b.Pa-a.Pa)
		}
	}
	return corners[len(corners)-1].Pa
}

// spread gives the lowest and the highest planned chamber pressure of a time, Pa
// absolute.
func spread(corners []Corner, from, to time.Duration) (low, high float64) {
	low = pressureAt(corners, from)
	high = low
	take := func(pa float64) { low, high = min(low, pa), max(high, pa) }
	take(pressureAt(corners, to))
	for _, c := range corners {
		if c.At >= from && c.At <= to {
			take(c.Pa)
		}
	}
	return low, high
}

// Draw draws the pressure over time in characters: width columns and height rows
// of picture beside a scale of bar gauge and depth. Measuring windows stand full,
// settling light, and what goes up and down within a column is a line.
func (p *Plan) Draw(width, height int) string {
	const eighths = " ▁▂▃▄▅▆▇█"
	steps := []rune(eighths)
	width, height = max(width, 20), max(height, 4)
	corners := p.Curve()
	end := corners[len(corners)-1].At
	room, top := p.Bench.RoomPa, p.PeakPa
	if end == 0 || top <= room {
		return "nothing is pressurised\n"
	}
	grid := make([][]rune, height)
	for r := range grid {
		grid[r] = []rune(strings.Repeat(" ", width))
	}
	for c := range width {
		from, to := time.Duration(float64(c)/float64(width)*float64(end)), time.Duration(float64(c+1)/float64(width)*float64(end))
		low, high := spread(corners, from, to)
		eighths := func(pa float64) int { return int(math.Round(max(pa-room, 0) / (top - room) * float64(height) * 8)) }
		measuring := p.measuring((from + to) / 2)
		for r := range height {
			below := 8 * (height - 1 - r)
			n, all := eighths(high)-below, eighths(low)-below
			switch {
			case n >= 8 && measuring && all >= 8:
				grid[r][c] = '█'
			case n >= 8 && all < 0:
				grid[r][c] = '│' // it goes up and down here
			case n >= 8:
				grid[r][c] = '░'
			case n > 0:
				grid[r][c] = steps[n]
			}
		}
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%8s %7s\n", "bar", "m")
	for r, row := range grid {
		pa := room + (top-room)*float64(height-r)/float64(height)
		label := strings.Repeat(" ", 16)
		if r%2 == 0 || height < 8 {
			label = fmt.Sprintf("%8.2f %7.1f", (pa-room)/1e5, p.Column.DepthM(pa-p.Unit.SealedPa))
		}
		fmt.Fprintf(&b, "%s ┤%s\n", label, strings.TrimRight(string(row), " "))
	}
	fmt.Fprintf(&b, "%16s └%s\n", "0", strings.Repeat("─", width))
	foot := []rune(strings.Repeat(" ", width))
	total := []rune(shortTime(end.Round(time.Minute)))
	for i := range 4 {
		at := i * width / 4
		text := []rune(shortTime(time.Duration(float64(end) * float64(at) / float64(width)).Round(time.Minute)))
		if at+len(text)+2 <= width-len(total) {
			copy(foot[at:], text)
		}
	}
	copy(foot[max(width-len(total), 0):], total)
	fmt.Fprintf(&b, "%18s%s\n", "", string(foot))
	return b.String()
}

// measuring tells whether a time lies in a measuring window.
func (p *Plan) measuring(at time.Duration) bool {
	for _, l := range p.Legs {
		if at >= l.End()-l.Hold && at < l.End() {
			return true
		}
	}
	return false
}
