package forward

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"proofpot/rig/record"
)

// serversVariable names a folder with Debian's influxdb and victoria-metrics, unpacked
// (dpkg -x), where they are not installed.
const serversVariable = "PROOFPOT_SERVERS"

func binary(t *testing.T, name string) string {
	t.Helper()
	if dir := os.Getenv(serversVariable); dir != "" {
		file := filepath.Join(dir, "usr/bin", name)
		if _, err := os.Stat(file); err == nil {
			return file
		}
	}
	file, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("CI") != "" {
			t.Fatalf("%s is not here, and must be in CI: set %s", name, serversVariable)
		}
		t.Skipf("%s is not here; unpack Debian's package and set %s", name, serversVariable)
	}
	return file
}

func port(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// server is a real engine that can be killed and started again on its data.
type server struct {
	t      *testing.T
	file   string
	args   []string
	health string
	cmd    *exec.Cmd
}

func (s *server) start() {
	s.t.Helper()
	s.cmd = exec.Command(s.file, s.args...)
	var said bytes.Buffer
	s.cmd.Stdout, s.cmd.Stderr = &said, &said
	if err := s.cmd.Start(); err != nil {
		s.t.Fatal(err)
	}
	for range 300 {
		if resp, err := http.Get(s.health); err == nil {
			resp.Body.Close()
			return
		}
		time.Sleep(100 * time.Millisecond)
	}
	s.kill()
	s.t.Fatalf("%s does not answer: %s", s.file, said.String())
}

// kill ends it as a power cut does.
func (s *server) kill() {
	if s.cmd != nil {
		s.cmd.Process.Signal(syscall.SIGKILL)
		s.cmd.Wait()
		s.cmd = nil
	}
}

// want is what the record says: the values of each measurement and field by time.
func want(t *testing.T, readings []byte) map[string]map[int64]float64 {
	t.Helper()
	all := map[string]map[int64]float64{}
	r := record.NewReader(bytes.NewReader(readings))
	var l record.Line
	for r.Next(&l) == nil {
		for name, v := range map[string]float64{"pressure_pa": l.PressurePa, "gas_c": l.GasC, "depth_m": l.DepthM} {
			if v == v {
				key := l.Measurement.String() + "_" + name
				if all[key] == nil {
					all[key] = map[int64]float64{}
				}
				all[key][l.TimeNS] = v
			}
		}
	}
	return all
}

// outage sends a growing record to a server that is killed twice meanwhile.
func outage(t *testing.T, s *server, address string) []byte {
	t.Helper()
	to, err := NewEngine(address, "")
	if err != nil {
		t.Fatal(err)
	}
	folder, state := lay(t, text(0, 500)), t.TempDir()
	ctx, cancel := context.WithTimeout(context.Background(), 90*time.Second)
	defer cancel()
	f := &Forwarder{Engine: to, State: state, Wait: func(ctx context.Context, _ time.Duration) error { return Sleep(ctx, 100*time.Millisecond) }}
	n := 500
	for round := range 3 {
		for range 20 {
			grow(t, folder, text(n, 50))
			n += 50
			if _, err := f.Record(ctx, folder); err != nil {
				t.Fatal(err)
			}
		}
		if round == 2 {
			break
		}
		s.kill()
		done := make(chan error, 1)
		go func() { // it waits while the engine is away and the record grows
			_, err := f.Record(ctx, folder)
			done <- err
		}()
		grow(t, folder, text(n, 300))
		n += 300
		time.Sleep(300 * time.Millisecond)
		s.start()
		if err := <-done; err != nil {
			t.Fatal(err)
		}
		f = &Forwarder{Engine: to, State: state, Wait: f.Wait} // this side was killed too
	}
	if _, err := f.Record(ctx, folder); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(filepath.Join(folder, record.ReadingsFile))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func TestEveryLineArrivesOnceInInfluxDBWhateverIsKilled(t *testing.T) {
	dir, api, back := t.TempDir(), port(t), port(t)
	conf := filepath.Join(dir, "conf")
	text := fmt.Sprintf("reporting-disabled = true\nbind-address = %q\n[meta]\n dir = \"%[2]s/meta\"\n[data]\n dir = \"%[2]s/data\"\n wal-dir = \"%[2]s/wal\"\n[http]\n bind-address = %[3]q\n[monitor]\n store-enabled = false\n", back, dir, api)
	if err := os.WriteFile(conf, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	s := &server{t: t, file: binary(t, "influxd"), args: []string{"run", "-config", conf}, health: "http://" + api + "/ping"}
	s.start()
	defer s.kill()
	query := func(q string) (rows [][]any) {
		t.Helper()
		resp, err := http.PostForm("http://"+api+"/query?db=pot&epoch=ns", url.Values{"q": {q}})
		if err != nil {
			t.Fatal(err)
		}
		defer resp.Body.Close()
		var answer struct {
			Error   string
			Results []struct {
				Error  string
				Series []struct{ Values [][]any }
			}
		}
		d := json.NewDecoder(resp.Body)
		d.UseNumber()
		if err := d.Decode(&answer); err != nil || answer.Error != "" || len(answer.Results) == 0 || answer.Results[0].Error != "" {
			t.Fatalf("%s: %v %+v", q, err, answer)
		}
		for _, one := range answer.Results[0].Series {
			rows = append(rows, one.Values...)
		}
		return rows
	}
	query("CREATE DATABASE pot")
	data := outage(t, s, "http://"+api+"/write?db=pot")
	for key, values := range want(t, data) {
		name, field, _ := strings.Cut(key, "_")
		rows := query(fmt.Sprintf("SELECT %s FROM %s WHERE bench='club pot'", field, name))
		if len(rows) != len(values) {
			t.Errorf("%s: %d values, want %d", key, len(rows), len(values))
		}
		for _, row := range rows {
			at, _ := row[0].(json.Number).Int64()
			v, _ := row[1].(json.Number).Float64()
			if w, ok := values[at]; !ok || w != v {
				t.Fatalf("%s at %d: %v, want %v", key, at, v, w)
			}
		}
	}
	notes := bytes.Count(data, []byte("note "))
	if rows := query("SELECT text FROM note"); len(rows) != notes {
		t.Errorf("%d notes, want %d", len(rows), notes)
	}
	for _, q := range queries(t, "influxql") {
		if rows := query(q); len(rows) == 0 && !strings.Contains(q, "FROM fault") {
			t.Errorf("%s: no rows", q)
		}
	}
}

func TestEveryLineArrivesOnceInVictoriaMetricsWhateverIsKilled(t *testing.T) {
	addr := port(t)
	s := &server{t: t, file: binary(t, "victoria-metrics"), health: "http://" + addr + "/health",
		args: []string{"-httpListenAddr=" + addr, "-storageDataPath=" + t.TempDir(), "-retentionPeriod=100y", "-loggerLevel=ERROR", "-dedup.minScrapeInterval=1ms"}}
	s.start()
	defer s.kill()
	data := outage(t, s, "http://"+addr+"/write")
	var last string
	for range 50 { // what was taken can be asked for some moments later
		if last = s.differs(addr, want(t, data)); last == "" {
			s.asked(addr)
			return
		}
		time.Sleep(300 * time.Millisecond)
	}
	t.Error(last)
}

// differs compares what victoria-metrics exports with the record.
func (s *server) differs(addr string, all map[string]map[int64]float64) string {
	for key, values := range all {
		resp, err := http.PostForm("http://"+addr+"/api/v1/export", url.Values{
			"match[]": {fmt.Sprintf("{__name__=%q,bench=\"club pot\",unit=\"KP-01\"}", key)}, "start": {"1773470000"}, "end": {"1773480000"}, "reduce_mem_usage": {"0"}})
		if err != nil {
			return err.Error()
		}
		held := map[int64][]float64{}
		sc := bufio.NewScanner(resp.Body)
		sc.Buffer(nil, 64<<20)
		for sc.Scan() {
			var one struct {
				Values     []float64
				Timestamps []int64
			}
			if err := json.Unmarshal(sc.Bytes(), &one); err != nil {
				return err.Error()
			}
			for i, at := range one.Timestamps {
				held[at*1e6] = append(held[at*1e6], one.Values[i])
			}
		}
		io.Copy(io.Discard, resp.Body)
		resp.Body.Close()
		if len(held) != len(values) {
			return fmt.Sprintf("%s: %d values, want %d", key, len(held), len(values))
		}
		for at, v := range values {
			if got := held[at]; !slices.Equal(got, []float64{v}) {
				return fmt.Sprintf("%s at %d: %v, want %v once", key, at, got, v)
			}
		}
	}
	return ""
}

// asked asks what the README asks.
func (s *server) asked(addr string) {
	s.t.Helper()
	for _, q := range queries(s.t, "metricsql") {
		resp, err := http.PostForm("http://"+addr+"/api/v1/query", url.Values{"query": {q}, "time": {"1773477300"}})
		if err != nil {
			s.t.Fatal(err)
		}
		body, _ := io.ReadAll(resp.Body)
		resp.Body.Close()
		if resp.StatusCode != http.StatusOK || !bytes.Contains(body, []byte("club pot")) {
			s.t.Errorf("%s: %s", q, body)
		}
	}
}

// queries are those of the README in a language.
func queries(t *testing.T, language string) (qs []string) {
	t.Helper()
	text, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, part := range strings.Split(string(text), "```"+language+"\n")[1:] {
		q, _, _ := strings.Cut(part, "\n```")
		qs = append(qs, q)
	}
	if len(qs) < 3 {
		t.Fatalf("%d queries in %s", len(qs), language)
	}
	return qs
}
