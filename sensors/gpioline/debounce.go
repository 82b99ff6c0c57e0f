package gpioline

// debounce tells a level that stands from one that bounces, by counting equal
// looks at it.
type debounce struct {
	need  int // equal looks in a row
	limit int // looks without rest before a line flutters

	known    bool
	level    bool // the one that counts
	last     bool
	run      int // equal looks up to now
	restless int // looks since the level last stood
}

// look takes in one look and says whether the level that counts is new.
func (d *debounce) look(high bool) (changed bool) {
	if high == d.last && d.run > 0 {
		d.run++
	} else {
		d.last, d.run = high, 1
	}
	if d.run < d.need {
		d.restless++
		return false
	}
	d.restless = 0
	changed = !d.known || d.level != high
	d.known, d.level = true, high
	return changed
}

// flutters says whether the line has found no rest for too long.
func (d *debounce) flutters() bool { return d.restless >= d.limit }

// forget makes the next level a first one.
func (d *debounce) forget() { d.known, d.run, d.restless = false, 0, 0 }
