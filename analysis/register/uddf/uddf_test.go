package uddf

import (
	"math"
	"strings"
	"testing"
	"time"
)

// log is invented; its elements and units are those of UDDF 3.2 (depths in m,
// times in s, temperatures in K).
const log = `<?xml version="1.0" encoding="utf-8"?>
<uddf xmlns="http://www.streit.cc/uddf/3.2/" version="3.2.0">
  <generator><name>pod log</name></generator>
  <profiledata>
    <repetitiongroup id="one">
      <dive id="d1">
        <informationbeforedive><datetime>2026-06-03T10:15:00</datetime></informationbeforedive>
        <samples>
          <waypoint><depth>0.0</depth><divetime>0</divetime><temperature>285.15</temperature></waypoint>
          <waypoint><depth>24.6</depth><divetime>600</divetime><temperature>279.15</temperature></waypoint>
        </samples>
        <informationafterdive><greatestdepth>24.8</greatestdepth><diveduration>2460</diveduration></informationafterdive>
      </dive>
      <dive id="d2">
        <informationbeforedive><datetime>2026-06-03T14:00:00Z</datetime></informationbeforedive>
        <samples>
          <waypoint><depth>12.1</depth><divetime>900</divetime></waypoint>
        </samples>
      </dive>
    </repetitiongroup>
  </profiledata>
</uddf>
`

func TestTheDivesOfALogAreRead(t *testing.T) {
	zone := time.FixedZone("", 2*3600)
	dives, err := Read(strings.NewReader(log), zone)
	if err != nil || len(dives) != 2 {
		t.Fatalf("%d dives, %v", len(dives), err)
	}
	a, b := dives[0], dives[1]
	if want := time.Date(2026, 6, 3, 8, 15, 0, 0, time.UTC); !a.At.Equal(want) {
		t.Errorf("a date without a zone: %v, want %v", a.At, want)
	}
	if a.DepthM != 24.8 || a.Minutes != 41 || !a.HasC || math.Abs(a.LowestC-6) > 1e-9 || a.Line != 6 {
		t.Errorf("first dive %+v", a)
	}
	if want := time.Date(2026, 6, 3, 14, 0, 0, 0, time.UTC); !b.At.Equal(want) || b.DepthM != 12.1 || b.Minutes != 15 || b.HasC {
		t.Errorf("second dive, from its samples alone: %+v", b)
	}
}

func TestALogThatCannotBeReadNamesTheLine(t *testing.T) {
	for name, c := range map[string]struct{ log, want string }{
		"empty":         {"", "line 1"},
		"another thing": {"<html></html>", "<html>"},
		"torn":          {log[:len(log)/2], "line "},
		"no date":       {strings.Replace(log, "2026-06-03T10:15:00", "yesterday", 1), `line 6: the dive's <datetime> is "yesterday"`},
		"no depth":      {strings.Replace(log, "<depth>12.1</depth>", "", 1), "line 14"},
		"a word":        {strings.Replace(log, "24.8", "deep", 1), "line "},
	} {
		dives, err := Read(strings.NewReader(c.log), time.UTC)
		if err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %d dives, %v", name, len(dives), err)
		}
	}
}

func FuzzRead(f *testing.F) {
	f.Add(log)
	f.Add(`<uddf><dive><informationbeforedive><datetime>2026-01-01</datetime></informationbeforedive><informationafterdive><greatestdepth>NaN</greatestdepth></informationafterdive></dive></uddf>`)
	f.Fuzz(func(t *testing.T, text string) {
		dives, err := Read(strings.NewReader(text), time.UTC)
		for _, d := range dives {
			if err != nil || !(d.DepthM > 0) || math.IsInf(d.DepthM, 0) || !(d.Minutes >= 0) || d.At.IsZero() && !strings.Contains(text, "0001-01-01") {
				t.Fatalf("%+v, %v", d, err)
			}
		}
	})
}
