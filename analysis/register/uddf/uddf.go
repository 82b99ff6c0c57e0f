// Package uddf reads dives from a log in the Universal Dive Data Format (UDDF
// 3.2, an open XML format): date, greatest depth, duration and lowest
// temperature. Its numbers are SI: m, s, K. What stands there of divers, gases
// and decompression is passed over.
package uddf

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"time"
)

// Dive is one dive of a log.
type Dive struct {
	At      time.Time
	DepthM  float64 // greatest
	Minutes float64 // 0: not stated
	LowestC float64 // °C
	HasC    bool    // whether a temperature stood there
	Line    int     // of the file, where the dive begins
}

// maxBytes bounds what is read of a log.
const maxBytes = 256 << 20

type dive struct {
	Before struct {
		Datetime string `xml:"datetime"`
	} `xml:"informationbeforedive"`
	After struct {
		GreatestDepth     *float64 `xml:"greatestdepth"`
		DiveDuration      *float64 `xml:"diveduration"`
		LowestTemperature *float64 `xml:"lowesttemperature"`
	} `xml:"informationafterdive"`
	Waypoints []struct {
		Depth       *float64 `xml:"depth"`
		DiveTime    *float64 `xml:"divetime"`
		Temperature *float64 `xml:"temperature"`
	} `xml:"samples>waypoint"`
}

// Read gives the dives of a log in its order. A date without a zone, as many
// computers write it, is taken to be in zone. The error is one line that names
// the line of the file.
func Read(r io.Reader, zone *time.Location) ([]Dive, error) {
	limited := &io.LimitedReader{R: r, N: maxBytes}
	d := xml.NewDecoder(limited)
	d.Strict = true
	var dives []Dive
	sawRoot := false
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, at(d, err)
		}
		start, ok := token.(xml.StartElement)
		if !ok {
			continue
		}
		if !sawRoot {
			if !strings.EqualFold(start.Name.Local, "uddf") {
				return nil, fmt.Errorf("line 1: this is <%s>, not a dive log in UDDF, which begins with <uddf>", start.Name.Local)
			}
			sawRoot = true
			continue
		}
		if start.Name.Local != "dive" {
			continue
		}
		line, _ := d.InputPos()
		var raw dive
		if err := d.DecodeElement(&raw, &start); err != nil {
			return nil, at(d, err)
		}
		one, err := raw.dive(zone)
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", line, err)
		}
		one.Line = line
		dives = append(dives, one)
	}
	if !sawRoot {
		return nil, errors.New("line 1: the file is empty; a dive log in UDDF begins with <uddf>")
	}
	if limited.N <= 0 {
		return nil, fmt.Errorf("the log is larger than %d MB", maxBytes>>20)
	}
	return dives, nil
}

func at(d *xml.Decoder, err error) error {
	line, column := d.InputPos()
	return fmt.Errorf("line %d, column %d: %w", line, column, err)
}

func (raw *dive) dive(zone *time.Location) (Dive, error) {
	var out Dive
	text := strings.TrimSpace(raw.Before.Datetime)
	var err error
	for _, layout := range []string{time.RFC3339Nano, "2006-01-02T15:04:05", "2006-01-02T15:04", "2006-01-02"} {
		if out.At, err = time.ParseInLocation(layout, text, zone); err == nil {
			break
		}
	}
	if err != nil {
		return out, fmt.Errorf("the dive's <datetime> is %q; a date as 2026-06-03T10:15:00 is needed", text)
	}
	lowest := math.Inf(1)
	see := func(kelvin *float64) {
		if kelvin != nil && *kelvin > 0 {
			lowest = math.Min(lowest, *kelvin-273.15)
		}
	}
	see(raw.After.LowestTemperature)
	last := 0.0
	for _, w := range raw.Waypoints {
		see(w.Temperature)
		if w.Depth != nil && !math.IsNaN(*w.Depth) {
			out.DepthM = math.Max(out.DepthM, *w.Depth)
		}
		if w.DiveTime != nil {
			last = math.Max(last, *w.DiveTime)
		}
	}
	if g := raw.After.GreatestDepth; g != nil {
		out.DepthM = math.Max(out.DepthM, *g) // the samples may have missed the deepest moment, or the summary be rounded
	}
	if raw.After.DiveDuration != nil {
		last = *raw.After.DiveDuration
	}
	out.Minutes = last / 60
	if out.HasC = !math.IsInf(lowest, 1); out.HasC {
		out.LowestC = lowest
	}
	if !(out.DepthM > 0) || math.IsInf(out.DepthM, 0) || !(out.Minutes >= 0) || math.IsInf(out.Minutes, 0) {
		return out, fmt.Errorf("the dive of %s has neither <greatestdepth> nor samples with a depth", text)
	}
	return out, nil
}
