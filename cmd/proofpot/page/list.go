package page

import (
	"slices"
	"time"

	"proofpot/analysis/catalogue"
)

// mostListed is how many records the page lists: the newest.
const mostListed = 500

// List gives the records of a folder, the newest first.
func List(records string) ([]RecordLine, error) {
	all, err := catalogue.List(records)
	if err != nil {
		return nil, err
	}
	all = slices.DeleteFunc(all, func(e catalogue.Entry) bool { return !safeName(e.Name) })
	lines := []RecordLine{}
	for _, e := range catalogue.Newest(all, mostListed) {
		line := RecordLine{Name: e.Name, Unit: e.Unit, Variant: e.Variant, Profile: e.Profile,
			Verdict: e.Verdict, Rated: e.RatedM, Failed: e.FailedM, Mode: e.Mode, CutOff: e.CutOff && e.Verdict == ""}
		if !e.Started.IsZero() {
			line.Started = e.Started.Format(time.RFC3339)
		}
		lines = append(lines, line)
	}
	return lines, nil
}
