package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"
)

// demoStart is when the invented club's season begins: a round of tests each
// month from the middle of March 2026.
var demoStart = time.Date(2026, 3, 14, 8, 0, 0, 0, time.UTC)

// demoTrips are what the club packs; the register answers, as of the first of
// June 2026, fit, fit with a remark and not fit.
var demoTrips = map[string]string{
	"mountain-lake.toml": `name = "a week at a mountain lake"
departure = 2026-06-13T07:00:00Z
days = 7
water = { model = "fresh", salinity_gkg = 0.0, temperature_c = 14.0, latitude_deg = 47.0, altitude_m = 1400.0 }

[[unit]]               # proofed in May, and used since
id = "KP-03"
deepest_m = 6.0
dives = 5
minutes = 4.0          # let down and taken up again
batteries = "none"

[[unit]]               # the same, for long recordings
id = "KP-06"
deepest_m = 6.0
dives = 5
minutes = 45.0
batteries = "inside"

[[unit]]               # opened for a new hydrophone since its test
id = "KP-07"
deepest_m = 6.0
dives = 5
minutes = 45.0
batteries = "none"
`,
	"northern-fjord.toml": `name = "a week at a northern fjord"
departure = 2026-08-22T07:00:00Z
days = 7
water = { model = "sea", salinity_gkg = 33.0, temperature_c = 12.0, latitude_deg = 62.0 }

[[unit]]               # held all steps to 30 m
id = "KP-10"
deepest_m = 20.0
dives = 8
minutes = 4.0
batteries = "none"

[[unit]]               # deeper than it is rated for
id = "KP-03"
deepest_m = 12.0
dives = 8
minutes = 4.0
batteries = "none"

[[unit]]               # water was found in it
id = "KP-12"
deepest_m = 8.0
dives = 8
minutes = 4.0
batteries = "inside"

[[unit]]               # it fell on a jetty
id = "KP-17"
deepest_m = 8.0
dives = 8
minutes = 4.0
batteries = "none"
`,
}

// demoDives is what a dive computer that hung beside KP-03 wrote (UDDF).
const demoDives = `<?xml version="1.0" encoding="utf-8"?>
<!-- ` + inventedData + ` -->
<uddf xmlns="http://www.streit.cc/uddf/3.2/" version="3.2.0">
<profiledata><repetitiongroup id="may">
<dive id="d1"><informationbeforedive><datetime>2026-05-24T10:05:00Z</datetime></informationbeforedive>
<informationafterdive><greatestdepth>5.4</greatestdepth><diveduration>1500</diveduration><lowesttemperature>286.15</lowesttemperature></informationafterdive></dive>
<dive id="d2"><informationbeforedive><datetime>2026-05-24T13:40:00Z</datetime></informationbeforedive>
<informationafterdive><greatestdepth>6.1</greatestdepth><diveduration>1740</diveduration><lowesttemperature>286.15</lowesttemperature></informationafterdive></dive>
</repetitiongroup></profiledata>
</uddf>
`

// verb runs another verb as a person would, into silence.
func verb(w *world, args ...string) error {
	quiet := *w
	quiet.out, quiet.inTTY, quiet.errTTY = io.Discard, false, false
	if code := run(quiet, args); code != exitDone {
		return coded{code, fmt.Errorf("proofpot %v ended with exit code %d", args, code)}
	}
	return nil
}

// demoLog enters a unit's closure and its test into the register.
func demoLog(w *world, folder, sheet, record string) error {
	register := filepath.Join(folder, "register")
	if err := verb(w, "unit", "close", sheet, "--register", register); err != nil {
		return err
	}
	return verb(w, "unit", "tests", record, "--register", register)
}

// demoSummer enters what became of the units after their tests: dives by hand and
// from a computer's log, one opened, one that fell, one that was wet.
func demoSummer(w *world, folder string) error {
	register, dives := filepath.Join(folder, "register"), filepath.Join(folder, "may.uddf")
	if err := os.WriteFile(dives, []byte(demoDives), 0o666); err != nil {
		return err
	}
	quiet := *w
	quiet.errs = io.Discard // the caution that goes with a wet unit
	for _, args := range [][]string{
		{"unit", "dives", "KP-03", dives},
		{"unit", "dive", "KP-06", "5.8", "--minutes", "40", "--water", "13", "--at", "2026-05-25T11:00", "--by", "the second boat"},
		{"unit", "log", "KP-07", "opened", "--at", "2026-05-27", "--by", "bench team", "--text", "new hydrophone"},
		{"unit", "dive", "KP-12", "7.5", "--minutes", "30", "--at", "2026-05-25T12:00"},
		{"unit", "log", "KP-12", "wetted", "--at", "2026-05-25T13:00", "--text", "two drops below the lid"},
		{"unit", "log", "KP-17", "struck", "--at", "2026-05-26", "--text", "fell on the jetty"},
	} {
		if err := verb(&quiet, append(args, "--register", register)...); err != nil {
			return err
		}
	}
	return nil
}
