package main

import (
	"encoding/json"
	"fmt"
	"math"
	"path/filepath"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"proofpot/analysis/catalogue"
	"proofpot/rig/record"
)

type recordsCmd struct {
	List     recordsListCmd     `cmd:"" default:"withargs" help:"List records, or find some of them. This is what records alone does."`
	Compress recordsCompressCmd `cmd:"" help:"Compress the readings of records whose run has ended, as zstd."`
}

type recordsListCmd struct {
	Records string `help:"Folder of records." default:"records"`
	Unit    string `help:"Records of this unit."`
	Variant string `help:"Records of units that were built so."`
	Verdict string `help:"pass, fail, inconclusive, or none: not analysed." enum:",pass,fail,inconclusive,none" default:""`
	Depth   string `help:"In m: 20..30, 20.., ..30, or 24 (within half a metre). Of the first failure, else the deepest hold passed, else what was planned." placeholder:"LOW..HIGH"`
	Since   string `help:"Started on this day (2026-03-14, UTC) or at this time (RFC 3339), or later." placeholder:"DATE"`
	Until   string `help:"Started on this day or earlier, or before this time." placeholder:"DATE"`
	JSON    bool   `name:"json" help:"Print one line of JSON a record."`
}

// Run lists what is wanted, the oldest first, as it was made. None is the answer no.
func (c *recordsListCmd) Run(w *world) error {
	q := catalogue.Query{Unit: c.Unit, Variant: c.Variant, Verdict: c.Verdict}
	var err error
	if q.MinM, q.MaxM, err = depthRange(c.Depth); err != nil {
		return err
	}
	if q.Since, err = boundary("--since", c.Since, 0); err != nil {
		return err
	}
	if q.Until, err = boundary("--until", c.Until, 24*time.Hour); err != nil {
		return err
	}
	all, err := catalogue.List(c.Records)
	if err != nil {
		return err
	}
	found := catalogue.Find(all, q)
	if c.JSON {
		out := json.NewEncoder(w.out)
		for i := range found {
			if err := out.Encode(&found[i]); err != nil {
				return err
			}
		}
	} else if len(found) > 0 {
		writeRecords(w, found)
	}
	fmt.Fprintf(w.errs, "%d of %d records in %s\n", len(found), len(all), c.Records)
	if len(found) == 0 && len(all) > 0 {
		return answer(exitNo)
	}
	return nil
}

func writeRecords(w *world, found []catalogue.Entry) {
	t := tabwriter.NewWriter(w.out, 0, 8, 2, ' ', 0)
	fmt.Fprintln(t, "record\tunit\tvariant\tprofile\tverdict\tproved\tfirst failure")
	for i := range found {
		e := &found[i]
		verdict := e.Verdict
		switch {
		case e.Unusable != "":
			verdict = "unreadable: " + e.Unusable
		case verdict == "" && e.CutOff:
			verdict = "cut off or under way"
		case verdict == "":
			verdict = "not analysed"
		}
		proved, failed := "–", "–"
		if e.ProvedM > 0 {
			proved = fmt.Sprintf("%.1f m", e.ProvedM)
		}
		if e.Mode != "" {
			failed = fmt.Sprintf("%s at %.1f m", e.Mode, e.FailedM)
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", e.Name, e.Unit, e.Variant, e.Profile, verdict, proved, failed)
	}
	t.Flush()
}

// depthRange reads LOW..HIGH in m; a high of 0 is none.
func depthRange(text string) (low, high float64, err error) {
	if text == "" {
		return 0, 0, nil
	}
	bad := fmt.Errorf("--depth %s: want a depth in m or a range of them, as 24, 20..30, 20.. or ..30", text)
	number := func(s string, missing float64) float64 {
		if s = strings.TrimSuffix(strings.TrimSpace(s), "m"); s == "" {
			return missing
		}
		v, perr := strconv.ParseFloat(strings.TrimSpace(s), 64)
		if perr != nil || !(v >= 0 && v < 12000) {
			err = bad
		}
		return v
	}
	from, to, ranged := strings.Cut(text, "..")
	if !ranged {
		at := number(from, math.NaN())
		return max(at-0.5, 0), at + 0.5, err
	}
	low, high = number(from, 0), number(to, 0)
	if err == nil && (from == "" && to == "" || to != "" && high < low) {
		err = bad
	}
	return low, high, err
}

// boundary reads a day (UTC), to which add is added, or a time; empty is the zero time.
func boundary(flag, text string, add time.Duration) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	if t, err := time.Parse(time.DateOnly, text); err == nil {
		return t.Add(add), nil
	}
	t, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return t, fmt.Errorf("%s %s: want a day as 2026-03-14 or a time as 2026-03-14T08:15:02Z", flag, text)
	}
	return t, nil
}

type recordsCompressCmd struct {
	Records []string `arg:"" name:"record" help:"Folders of records." placeholder:"RECORD"`
	Remove  bool     `help:"Remove the plain readings, once what was written gives back every byte of them."`
	JSON    bool     `name:"json" help:"Print one line of JSON a record."`
}

// Run compresses each record that it can and names those that it cannot.
func (c *recordsCompressCmd) Run(w *world) error {
	refused := false
	for _, folder := range c.Records {
		done, err := record.Compress(folder, c.Remove)
		if err != nil {
			fmt.Fprintf(w.errs, "proofpot: %v\n", err)
			refused = true
			continue
		}
		if c.JSON {
			err = json.NewEncoder(w.out).Encode(struct {
				Record  string `json:"record"`
				Before  int64  `json:"before_bytes"`
				After   int64  `json:"after_bytes"`
				Removed bool   `json:"removed"`
			}{folder, done.Before, done.After, done.Removed})
			if err != nil {
				return err
			}
			continue
		}
		kept := "kept"
		if done.Removed {
			kept = "removed, after every byte was compared"
		}
		fmt.Fprintf(w.out, "%s: %d bytes are %d (%.1f %%) in %s; %s %s\n", folder, done.Before, done.After,
			100*float64(done.After)/float64(max(done.Before, 1)), record.CompressedFile, filepath.Base(record.ReadingsFile), kept)
	}
	if refused {
		return answer(exitUsage)
	}
	return nil
}
