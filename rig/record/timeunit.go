package record

import "fmt"

// TimeUnit is how many nanoseconds the time stamps of a record count by; 0: not
// known yet. Format 1 counts nanoseconds. Other writers' seconds, milliseconds
// and microseconds show by their digits: from 2001 to 2286 they have 10, 13, 16
// and 19. A record has one unit.
type TimeUnit int64

// unitOf gives the unit of a stamp; 0 where its digits do not say.
func unitOf(stamp int64) TimeUnit {
	switch {
	case stamp >= 1e18:
		return 1
	case stamp >= 1e15 && stamp < 1e16:
		return 1e3
	case stamp >= 1e12 && stamp < 1e13:
		return 1e6
	case stamp >= 1e9 && stamp < 1e10:
		return 1e9
	}
	return 0
}

// String gives the unit as s, ms, µs or ns.
func (u TimeUnit) String() string {
	return map[TimeUnit]string{1: "ns", 1e3: "µs", 1e6: "ms", 1e9: "s"}[u]
}

// digits is the length of a stamp.
func (u TimeUnit) digits() int {
	return map[TimeUnit]int{0: digitsOfNow, 1: digitsOfNow, 1e3: 16, 1e6: 13, 1e9: 10}[u]
}

// NS turns a stamp into nanoseconds. The first that says its unit decides.
func (u *TimeUnit) NS(stamp int64) (int64, error) {
	is := unitOf(stamp)
	if *u == 0 {
		*u = is
	}
	switch {
	case is == *u || *u == 1 && is == 0:
	case is == 0:
		return 0, fmt.Errorf("time stamp %d is not in %s, in which the lines before are", stamp, *u)
	default:
		return 0, fmt.Errorf("time stamp %d is in %s, the lines before are in %s: a record has one unit of time", stamp, is, *u)
	}
	if is > 1 {
		if stamp > (1<<63-1)/int64(is) {
			return 0, fmt.Errorf("time stamp %d is beyond the year 2262", stamp)
		}
		return stamp * int64(is), nil
	}
	return stamp, nil
}
