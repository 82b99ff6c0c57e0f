package setup

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2"

	"proofpot/profiles/strict"
)

// Measured is what was found of a bench by running it: bench.measured.toml
// beside bench.toml, written by the verbs blank, stiffness and known-leak, and
// the table [bench.measured] of run.toml, which holds what a run used.
type Measured struct {
	Settings  string             `toml:"settings,omitempty"` // of the bench when it was measured, see Bench.Settings
	Blanks    []MeasuredBlank    `toml:"blank,omitempty"`    // the newest last
	Stiffness *MeasuredStiffness `toml:"stiffness,omitempty"`
	KnownLeak *MeasuredKnownLeak `toml:"known_leak,omitempty"`
}

// MeasuredBlank is one blank run.
type MeasuredBlank struct {
	At             time.Time `toml:"at"`
	ValidUntil     time.Time `toml:"valid_until"`
	MLPerHPerBar   float64   `toml:"ml_per_h_per_bar"`
	SDMLPerHPerBar float64   `toml:"sd_ml_per_h_per_bar"`
	LowBarGauge    float64   `toml:"low_bar_gauge"`
	HighBarGauge   float64   `toml:"high_bar_gauge"`
	LowC           float64   `toml:"low_c"` // of the water; both 0 without a thermometer
	HighC          float64   `toml:"high_c"`
	Record         string    `toml:"record,omitempty"`
	Settings       string    `toml:"settings,omitempty"` // of the bench then
}

// MeasuredStiffness is a compliance.
type MeasuredStiffness struct {
	At         time.Time `toml:"at"`
	ValidUntil time.Time `toml:"valid_until"`
	How        string    `toml:"how"` // cup, volumes, strokes or fill
	MLPerBar   float64   `toml:"ml_per_bar"`
	SDMLPerBar float64   `toml:"sd_ml_per_bar"`
	GasML      float64   `toml:"gas_ml"` // free gas at the room's pressure
	SDGasML    float64   `toml:"sd_gas_ml"`
	Points     int       `toml:"points"`
}

// MeasuredKnownLeak says whether a leak of known size was recovered.
type MeasuredKnownLeak struct {
	At        time.Time `toml:"at"`
	MLPerH    float64   `toml:"ml_per_h"`
	Recovered bool      `toml:"recovered"`
	Text      string    `toml:"text"`
	Record    string    `toml:"record,omitempty"`
}

// ValidFor is how long a figure of a bench stands: a month; seals wear and
// plumbing is touched (common practice, no source). WithinK is how far from the
// temperatures of its blank a bench may be used.
const (
	ValidFor = 30 * 24 * time.Hour
	WithinK  = 5.0
)

// Settings stands for what of a bench changes its leak and its compliance: other
// volumes, another medium or supply, other limits, other plumbing by its name.
func (b Bench) Settings() string {
	sum := sha256.Sum256(fmt.Appendf(nil, "%s %s %s %g %g %g %g %t", b.ID, b.Medium, b.Supply, b.ChamberVolumeML, b.GasCushionML, b.RatedPa-b.RoomPa, b.ReliefPa-b.RoomPa, b.HandOperated))
	return hex.EncodeToString(sum[:8])
}

// MeasuredFile is where the figures of a bench file lie.
func MeasuredFile(benchFile string) string {
	return strings.TrimSuffix(benchFile, ".toml") + ".measured.toml"
}

// LoadMeasured reads the figures of a bench; a bench that was never measured has
// none.
func LoadMeasured(benchFile string) (Measured, error) {
	var m Measured
	name := MeasuredFile(benchFile)
	data, err := os.ReadFile(name)
	if errors.Is(err, fs.ErrNotExist) {
		return m, nil
	}
	if err != nil {
		return m, fmt.Errorf("what was measured of the bench: %w", err)
	}
	return m, strict.Decode(name, data, &m)
}

// Encode gives the text of the file.
func (m Measured) Encode() ([]byte, error) {
	var b bytes.Buffer
	b.WriteString("# What was measured of this bench. Written by proofpot blank, stiffness and known-leak;\n# a figure that is out of date is not used, and said to be.\n")
	err := toml.NewEncoder(&b).Encode(m)
	return b.Bytes(), err
}

// Apply puts what was measured into a bench, where it is still valid at a time,
// and the water's temperature, NaN for not known. The bench's own leak is that of
// the newest blank, or, where several were run at temperatures apart, that of
// their line (FitBlanks). It says what was not used, and why.
func (m Measured) Apply(b *Bench, now time.Time, waterC float64) (warnings []string) {
	used := Measured{Settings: b.Settings()}
	stale := func(what string, at, until time.Time, settings string) bool {
		switch {
		case now.After(until):
			warnings = append(warnings, fmt.Sprintf("the %s of %s is out of date since %s", what, at.Format(time.DateOnly), until.Format(time.DateOnly)))
		case settings != "" && settings != used.Settings:
			warnings = append(warnings, fmt.Sprintf("the %s of %s was measured with other settings of the bench", what, at.Format(time.DateOnly)))
		default:
			return false
		}
		return true
	}
	if s := m.Stiffness; s != nil && !stale("stiffness", s.At, s.ValidUntil, m.Settings) {
		b.StiffnessMLPerBar = s.MLPerBar
		if b.Medium == MediumWater && s.GasML > 0 {
			b.GasCushionML = s.GasML
		}
		used.Stiffness = s
	}
	if n := len(m.Blanks); n > 0 {
		l := m.Blanks[n-1]
		known := l.HighC > l.LowC
		valid := m.Valid(now, used.Settings)
		fit, fits := FitBlanks(valid)
		switch {
		case fits && waterC >= fit.LowC-WithinK && waterC <= fit.HighC+WithinK:
			b.BlankLeakMLPerHPerBar, b.BlankLeakSDMLPerHPerBar = fit.At(waterC)
			used.Blanks = valid
		case stale("blank", l.At, l.ValidUntil, l.Settings):
		case known && (waterC < l.LowC-WithinK || waterC > l.HighC+WithinK):
			warnings = append(warnings, fmt.Sprintf("the blank of %s was run at %.1f to %.1f °C, and the water has %.1f °C: more than %g K away", l.At.Format(time.DateOnly), l.LowC, l.HighC, waterC, WithinK))
		default:
			b.BlankLeakMLPerHPerBar, b.BlankLeakSDMLPerHPerBar = max(0, l.MLPerHPerBar), l.SDMLPerHPerBar
			used.Blanks = []MeasuredBlank{l}
		}
	}
	if k := m.KnownLeak; k != nil {
		used.KnownLeak = k
		if !k.Recovered {
			warnings = append(warnings, fmt.Sprintf("a known leak was not recovered on %s: %s", k.At.Format(time.DateOnly), k.Text))
		}
	}
	if used.Stiffness != nil || len(used.Blanks) > 0 || used.KnownLeak != nil {
		b.Measured = &used
	}
	return warnings
}
