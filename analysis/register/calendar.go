package register

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"
)

// Due is a day to be reminded of.
type Due struct {
	Day  time.Time
	Text string
	Note string
}

// DueDates are the days on which the tests of units end, and the tests that a
// trip asks for.
func DueDates(standings []Standing, slots []Slot) []Due {
	var due []Due
	for _, s := range standings {
		if s.Valid {
			due = append(due, Due{s.Until, "Test of " + s.Unit + " ends", "passed on " + s.Tested.UTC().Format(time.DateOnly) + ", record " + s.Test.Record})
		}
	}
	for _, s := range slots {
		due = append(due, Due{s.Start, "Test " + s.Unit + ": " + s.Proposal.Profile, fmt.Sprintf("takes %s", s.Proposal.Takes.Round(time.Minute))})
	}
	return due
}

// Calendar writes days as an iCalendar file (RFC 5545), with a reminder a week
// before each. The same days at the same moment give the same bytes.
func Calendar(made time.Time, due []Due) []byte {
	var b strings.Builder
	line := func(text string) {
		// RFC 5545, 3.1: lines of at most 75 octets, folded by a line break and a space.
		for len(text) > 73 {
			n := 73
			for !utf8.RuneStart(text[n]) {
				n--
			}
			b.WriteString(text[:n] + "\r\n ")
			text = text[n:]
		}
		b.WriteString(text + "\r\n")
	}
	escape := strings.NewReplacer(`\`, `\\`, ";", `\;`, ",", `\,`, "\r", "", "\n", `\n`).Replace
	line("BEGIN:VCALENDAR")
	line("VERSION:2.0")
	line("PRODID:-//proofpot//register//EN")
	for _, d := range due {
		sum := sha256.Sum256([]byte(d.Day.UTC().Format(time.RFC3339) + d.Text))
		line("BEGIN:VEVENT")
		line("UID:" + hex.EncodeToString(sum[:12]) + "@proofpot")
		line("DTSTAMP:" + made.UTC().Format("20060102T150405Z"))
		line("DTSTART;VALUE=DATE:" + d.Day.UTC().Format("20060102"))
		line("SUMMARY:" + escape(d.Text))
		if d.Note != "" {
			line("DESCRIPTION:" + escape(d.Note))
		}
		line("BEGIN:VALARM")
		line("ACTION:DISPLAY")
		line("TRIGGER:-P7D")
		line("DESCRIPTION:" + escape(d.Text))
		line("END:VALARM")
		line("END:VEVENT")
	}
	line("END:VCALENDAR")
	return []byte(b.String())
}
