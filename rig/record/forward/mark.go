package forward

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"time"

	"proofpot/rig/record"
)

// mark is a place in a record up to which an engine has acknowledged it.
type mark struct {
	Bytes   int64            `json:"bytes"` // of the readings, as they were before any compression
	Last    string           `json:"last"`  // sha256 of the line that ends there: is it still that record?
	Unit    record.TimeUnit  `json:"unit"`  // of time, ns; 0: not known yet
	Sent    map[string]int64 `json:"sent"`  // time of the last line of each series, ns
	Lines   int64            `json:"lines"` // acknowledged
	Refused int64            `json:"refused"`
	Packed  int64            `json:"packed,omitempty"` // bytes of readings.lp.zst, once all of it was sent
}

func (m mark) clone() mark {
	m.Sent = maps.Clone(m.Sent)
	if m.Sent == nil {
		m.Sent = map[string]int64{}
	}
	return m
}

func lineSum(line []byte) string {
	sum := sha256.Sum256(bytes.TrimRight(line, "\r\n"))
	return hex.EncodeToString(sum[:])
}

// state is what is remembered of one record and one engine. An engine that is
// killed may lose what it acknowledged a moment before: after an outage lines go
// again from Settled, which was acknowledged settleTime before Acked.
type state struct {
	Acked   mark      `json:"acked"`
	At      time.Time `json:"at"` // of Acked
	Settled mark      `json:"settled"`

	recent []recent // acknowledged since Settled
}

type recent struct {
	at time.Time
	m  mark
}

// settleTime is longer than an engine keeps what it acknowledged in memory alone:
// victoria-metrics 1.79 does so for some seconds, influxdb not at all.
const settleTime = 30 * time.Second

// acked moves on; what was acknowledged long enough ago has settled.
func (s *state) acked(m mark, now time.Time) {
	s.Acked, s.At = m, now
	s.recent = append(s.recent, recent{now, m.clone()})
	s.settle(now)
	if len(s.recent) > 64 { // a quick stretch: fewer marks do
		s.recent = append(s.recent[:1], s.recent[2:]...)
	}
}

func (s *state) settle(now time.Time) {
	for len(s.recent) > 0 && now.Sub(s.recent[0].at) > settleTime {
		s.Settled, s.recent = s.recent[0].m, s.recent[1:]
	}
}

// back goes back to what has settled.
func (s *state) back(now time.Time) {
	s.settle(now)
	if len(s.recent) == 0 && now.Sub(s.At) > settleTime {
		s.Settled = s.Acked.clone()
	}
	s.Acked, s.recent = s.Settled.clone(), nil
}

func loadState(file string) (*state, error) {
	s := &state{}
	data, err := os.ReadFile(file)
	if err == nil && json.Unmarshal(data, s) != nil {
		*s = state{} // torn: begin anew, which an engine does not mind
	}
	if errors.Is(err, fs.ErrNotExist) {
		err = nil
	}
	s.Acked, s.Settled = s.Acked.clone(), s.Settled.clone()
	return s, err
}

func (s *state) save(file string) error {
	data, err := json.Marshal(s)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(file), 0o777); err != nil {
		return err
	}
	return record.WriteWhole(file, data, 0o644)
}
