package page

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/klauspost/compress/zstd"

	"proofpot/rig"
)

// standIn is a bench whose runs go on until they are stopped.
type standIn struct {
	runs, checks, analysed atomic.Int32
	aborted                atomic.Int32
	records                string
}

func (b *standIn) Choices() (Choices, error) { return Choices{Bench: "pot-1"}, nil }
func (b *standIn) Plan(c Choice) (PlanView, error) {
	if c.Profile == "" {
		return PlanView{}, errors.New("which profile?")
	}
	return PlanView{Text: "plan"}, nil
}
func (b *standIn) Preflight(context.Context, Choice, *Console) ([]rig.Check, error) {
	b.checks.Add(1)
	return nil, nil
}
func (b *standIn) Run(ctx context.Context, _ Choice, on *Console) (Outcome, error) {
	b.runs.Add(1)
	for ctx.Err() == nil && !on.Operator().Abort {
		time.Sleep(time.Millisecond)
	}
	b.aborted.Add(1)
	return Outcome{}, nil
}
func (b *standIn) Resume(context.Context, string, *Console) (Outcome, error) {
	b.runs.Add(1)
	return Outcome{}, nil
}
func (b *standIn) Records() ([]RecordLine, error)  { return List(b.records) }
func (b *standIn) Analyse(string) (Outcome, error) { b.analysed.Add(1); return Outcome{}, nil }
func (b *standIn) Units() ([]UnitLine, error)      { return nil, nil }

// changed says whether anything was done to the bench.
func (b *standIn) changed() bool {
	return b.runs.Load()+b.checks.Load()+b.analysed.Load() > 0
}

// client is one browser: it keeps its cookies.
type client struct {
	t    *testing.T
	base string
	http *http.Client
	id   string
}

func newClient(t *testing.T, base string) *client {
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	transport := http.DefaultTransport.(*http.Transport).Clone()
	transport.TLSClientConfig = nil
	return &client{t: t, base: base, http: &http.Client{Jar: jar}, id: "client-" + NewCode()}
}

func (c *client) send(method, path, body string, headers ...string) (int, string) {
	c.t.Helper()
	r, err := http.NewRequest(method, c.base+path, strings.NewReader(body))
	if err != nil {
		c.t.Fatal(err)
	}
	if method == http.MethodPost {
		r.Header.Set("Content-Type", "application/json")
	}
	r.Header.Set("X-Client", c.id)
	for i := 0; i+1 < len(headers); i += 2 {
		if headers[i] == "Host" {
			r.Host = headers[i+1]
		}
		r.Header.Set(headers[i], headers[i+1])
	}
	resp, err := c.http.Do(r)
	if err != nil {
		return 0, err.Error()
	}
	defer resp.Body.Close()
	data, _ := io.ReadAll(resp.Body)
	return resp.StatusCode, string(data)
}

func open(t *testing.T, local bool) (*client, *standIn, *Server) {
	t.Helper()
	b := &standIn{records: t.TempDir()}
	ctx, cancel := context.WithCancel(context.Background())
	s := New(ctx, b, Options{Local: local, Codes: Codes{Control: "controlcode", View: "viewcode"}, Records: b.records})
	server := httptest.NewUnstartedServer(s.Handler())
	if local {
		server.Start()
	} else {
		server.StartTLS()
	}
	t.Cleanup(func() { cancel(); s.Wait(); server.CloseClientConnections(); server.Close() })
	c := newClient(t, server.URL)
	if !local {
		c.http = server.Client()
		c.http.Jar, _ = cookiejar.New(nil)
	}
	return c, b, s
}

var commands = []string{"/api/take", "/api/preflight", "/api/start", "/api/resume", "/api/skip", "/api/pause", "/api/go", "/api/ready", "/api/note", "/api/photo", "/api/analyse"}

func TestWithoutACodeNothingIsSeenAndNothingDone(t *testing.T) {
	c, b, _ := open(t, false)
	for _, path := range append(commands, "/api/abort", "/api/give") {
		if status, _ := c.send("POST", path, `{}`); status != http.StatusUnauthorized {
			t.Errorf("POST %s: %d", path, status)
		}
	}
	for _, path := range []string{"/api/news", "/api/choices", "/api/plan?profile=x", "/api/records", "/api/units", "/api/picture", "/records/20260314T081502Z-KP-01/certificate.html"} {
		if status, _ := c.send("GET", path, ""); status != http.StatusUnauthorized {
			t.Errorf("GET %s: %d", path, status)
		}
	}
	if b.changed() {
		t.Error("something was done")
	}
}

func TestAThousandWrongCodesLetNobodyIn(t *testing.T) {
	c, b, s := open(t, false)
	turned := 0
	for i := range 1000 {
		status, _ := c.send("POST", "/api/pair", fmt.Sprintf(`{"code":"wrong%04d"}`, i))
		switch status {
		case http.StatusForbidden:
		case http.StatusTooManyRequests:
			turned++
		default:
			t.Fatalf("try %d: %d", i, status)
		}
	}
	if turned < 990 {
		t.Errorf("only %d of 1000 were turned away unread", turned)
	}
	if status, _ := c.send("POST", "/api/pair", `{"code":"controlcode"}`); status != http.StatusTooManyRequests {
		t.Errorf("after the thousand the right code is read at once: %d", status)
	}
	now := time.Now()
	s.access.mu.Lock()
	s.access.now = func() time.Time { return now.Add(2 * time.Minute) }
	s.access.mu.Unlock()
	if status, body := c.send("POST", "/api/pair", `{"code":" Control Code "}`); status != http.StatusOK {
		t.Errorf("two minutes later the right code: %d %s", status, body)
	}
	if status, _ := c.send("GET", "/api/choices", ""); status != http.StatusOK {
		t.Errorf("paired, and sees nothing: %d", status)
	}
	if b.changed() {
		t.Error("something was done")
	}
}

// TestWhoMaySeeMayStopAndNothingElse pairs with the code for viewers.
func TestWhoMaySeeMayStopAndNothingElse(t *testing.T) {
	c, b, s := open(t, false)
	if status, body := c.send("POST", "/api/pair", `{"code":"viewcode"}`); status != http.StatusOK {
		t.Fatal(status, body)
	}
	for _, path := range commands {
		if status, _ := c.send("POST", path, `{}`); status != http.StatusForbidden {
			t.Errorf("%s: %d", path, status)
		}
	}
	if err := s.work.run(Choice{}); err != nil {
		t.Fatal(err)
	}
	if status, _ := c.send("POST", "/api/abort", `{}`); status != http.StatusOK {
		t.Errorf("abort: %d", status)
	}
	s.Wait()
	if b.aborted.Load() != 1 {
		t.Error("the run goes on")
	}
}

func TestAnotherSitesPageCannotCommand(t *testing.T) {
	c, b, _ := open(t, true)
	for _, path := range append(commands, "/api/abort") {
		for _, h := range [][]string{{"Origin", "http://elsewhere.example"}, {"Sec-Fetch-Site", "cross-site"}, {"Sec-Fetch-Site", "same-site"}} {
			if status, _ := c.send("POST", path, `{}`, h...); status != http.StatusForbidden {
				t.Errorf("%s with %v: %d", path, h, status)
			}
		}
	}
	// A name elsewhere that was made to point to this machine.
	for _, path := range []string{"/", "/api/choices", "/api/records"} {
		if status, _ := c.send("GET", path, "", "Host", "elsewhere.example"); status != http.StatusMisdirectedRequest {
			t.Errorf("%s under another name: %d", path, status)
		}
	}
	if b.changed() {
		t.Error("something was done")
	}
}

func TestACommandNeedsTheControl(t *testing.T) {
	c, b, _ := open(t, true)
	other := newClient(t, c.base)
	if status, body := c.send("POST", "/api/start", `{"acknowledged":true}`); status != http.StatusConflict || b.changed() {
		t.Errorf("without it: %d %s", status, body)
	}
	if status, _ := c.send("POST", "/api/take", `{"name":"Kim"}`); status != http.StatusOK {
		t.Fatal(status)
	}
	if status, body := other.send("POST", "/api/take", `{"name":"Jo"}`); status != http.StatusConflict || !strings.Contains(body, "Kim has the control") {
		t.Errorf("taken from another: %d %s", status, body)
	}
	if status, body := c.send("POST", "/api/start", `{"unit":"KP-01","profile":"p"}`); status != http.StatusBadRequest || !strings.Contains(body, "cautions") || b.changed() {
		t.Errorf("without the cautions: %d %s", status, body)
	}
	if status, _ := other.send("POST", "/api/take", `{"name":"Jo","over":true}`); status != http.StatusOK {
		t.Error("it cannot be taken over")
	}
	if status, _ := c.send("POST", "/api/skip", `{}`); status != http.StatusConflict {
		t.Errorf("who has lost it commands still: %d", status)
	}
}

func TestNothingOutsideTheRecordsIsServed(t *testing.T) {
	c, b, _ := open(t, true)
	name := "20260314T081502Z-KP-01"
	folder := filepath.Join(b.records, name)
	if err := os.MkdirAll(filepath.Join(folder, "photos"), 0o755); err != nil {
		t.Fatal(err)
	}
	secret := filepath.Join(filepath.Dir(b.records), "secret.toml")
	for file, text := range map[string]string{filepath.Join(folder, "certificate.html"): "<p>certificate", secret: "secret", filepath.Join(folder, "other.txt"): "secret"} {
		if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Symlink(secret, filepath.Join(folder, "run.toml")); err != nil {
		t.Fatal(err)
	}
	if status, body := c.send("GET", "/records/"+name+"/certificate.html", ""); status != http.StatusOK || body != "<p>certificate" {
		t.Errorf("the certificate: %d %s", status, body)
	}
	for _, path := range []string{
		"/records/" + name + "/run.toml", // a link that leads outside
		"/records/" + name + "/other.txt",
		"/records/../secret.toml", "/records/%2e%2e/secret.toml", "/records/..%2fsecret.toml/verdict.json",
		"/records/" + name + "/..%2f..%2fsecret.toml", "/records/" + name + "/photos/..%2f..%2f..%2fsecret.toml", "/records/" + name + "/photos/%2e%2e",
		"/records//etc/passwd", "/records/" + name + "/certificate.html%00.txt", "/texts/../app.js/../../secret.toml",
	} {
		r, err := http.NewRequest("GET", c.base, nil)
		if err != nil {
			t.Fatal(err)
		}
		r.URL.Opaque = path // as it stands, not cleaned
		resp, err := c.http.Do(r)
		if err != nil {
			continue
		}
		data, _ := io.ReadAll(resp.Body)
		resp.Body.Close()
		if resp.StatusCode == http.StatusOK && bytes.Contains(data, []byte("secret")) || resp.StatusCode == http.StatusOK && strings.Contains(string(data), "root:") {
			t.Errorf("%s: %d %.60s", path, resp.StatusCode, data)
		}
	}
	for _, record := range []string{"../x", "", "20260314T081502Z-KP-01/..", "20260314T081502Z-"} {
		if status, _ := c.send("GET", "/api/picture?record="+url.QueryEscape(record), ""); status == http.StatusOK {
			t.Errorf("a picture of %q", record)
		}
	}
}

func TestWhatIsMalformedOrTooLargeIsRefusedAndTheBenchGoesOn(t *testing.T) {
	c, b, s := open(t, true)
	c.send("POST", "/api/take", `{"name":"Kim"}`)
	if err := s.work.run(Choice{}); err != nil {
		t.Fatal(err)
	}
	s.work.now().Folder(t.TempDir())
	huge := strings.Repeat("x", 1<<20)
	for name, try := range map[string][2]string{
		"not JSON":       {"/api/note", `{"text":`},
		"another key":    {"/api/note", `{"texts":"x"}`},
		"two values":     {"/api/note", `{"text":"a"}{"text":"b"}`},
		"empty":          {"/api/note", ``},
		"a long note":    {"/api/note", `{"text":"` + strings.Repeat("x", 600) + `"}`},
		"a huge note":    {"/api/note", `{"text":"` + huge + `"}`},
		"no photograph":  {"/api/photo", "GIF89a" + huge[:100]},
		"a huge one":     {"/api/photo", strings.Repeat(huge, 14)},
		"no such record": {"/api/analyse", `{"record":"../../etc"}`},
		"started again":  {"/api/start", `{"acknowledged":true}`},
	} {
		if status, body := c.send("POST", try[0], try[1]); status < 400 && status != 0 {
			t.Errorf("%s: %d %s", name, status, body)
		}
	}
	if status, _ := c.send("POST", "/api/note", `{"text":"a note"}`, "Content-Type", "text/plain"); status != http.StatusBadRequest {
		t.Error("a form of another site's shape is read")
	}
	if b.runs.Load() != 1 || b.aborted.Load() != 0 || b.analysed.Load() != 0 {
		t.Errorf("runs %d, aborted %d, analysed %d", b.runs.Load(), b.aborted.Load(), b.analysed.Load())
	}
}

// TestASlowClientHoldsNobodyUp: half a request, and a reader that does not read,
// and the run goes on and others are served.
func TestASlowClientHoldsNobodyUp(t *testing.T) {
	c, _, s := open(t, true)
	host := strings.TrimPrefix(c.base, "http://")
	for range 20 {
		half, err := net.Dial("tcp", host)
		if err != nil {
			t.Fatal(err)
		}
		defer half.Close()
		fmt.Fprint(half, "POST /api/note HTTP/1.1\r\nHost: localhost\r\nContent-Length: 100\r\n\r\n{")
		deaf, err := net.Dial("tcp", host)
		if err != nil {
			t.Fatal(err)
		}
		defer deaf.Close()
		fmt.Fprint(deaf, "GET /api/news?client=deaf HTTP/1.1\r\nHost: localhost\r\n\r\n")
	}
	started := time.Now()
	for i := range 20000 {
		s.hub.tell(newsNow, map[string]any{"t": i, "filler": strings.Repeat("x", 1000)})
	}
	took := time.Since(started)
	if took > 20*time.Second {
		t.Errorf("20,000 pieces of news took the teller %v: it waits for its viewers", took)
	}
	if status, _ := c.send("GET", "/api/choices", ""); status != http.StatusOK {
		t.Errorf("another client: %d", status)
	}
}

func TestTheHeadersKeepTheBrowserOnOurSide(t *testing.T) {
	c, _, _ := open(t, true)
	resp, err := c.http.Get(c.base + "/")
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	policy := resp.Header.Get("Content-Security-Policy")
	for _, want := range []string{"default-src 'none'", "script-src 'self'", "frame-ancestors 'none'", "base-uri 'none'"} {
		if !strings.Contains(policy, want) {
			t.Errorf("%q is not in %q", want, policy)
		}
	}
	if strings.Contains(policy, "unsafe") || resp.Header.Get("X-Content-Type-Options") != "nosniff" {
		t.Errorf("headers %v", resp.Header)
	}
}

func TestTooManyViewersAreTurnedAway(t *testing.T) {
	b := &standIn{records: t.TempDir()}
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	s := New(ctx, b, Options{Local: true, Records: b.records, Viewers: 3})
	for range 3 {
		if s.hub.join() == nil {
			t.Fatal("turned away too early")
		}
	}
	if s.hub.join() != nil {
		t.Error("a fourth viewer of three")
	}
}

// TestTheControlIsLetGoOfWhenItsPageIsGone follows a client whose page closes.
func TestTheControlIsLetGoOfWhenItsPageIsGone(t *testing.T) {
	now := time.Now()
	h := &holder{now: func() time.Time { return now }, open: map[string]int{}}
	h.page("one", 1)
	if !h.take("one", "Kim", false) {
		t.Fatal("it was free")
	}
	now = now.Add(time.Hour)
	if !h.has("one") {
		t.Error("lost while its page is open")
	}
	h.page("one", -1)
	now = now.Add(letGoAfter - time.Second)
	if h.take("two", "Jo", false) {
		t.Error("taken from a page that was reloaded")
	}
	now = now.Add(2 * time.Second)
	if !h.take("two", "Jo", false) || h.has("one") {
		t.Error("not let go of")
	}
}

func TestReadingsKeptCompressedAreServedAsTheyWereAndTornOnesNeverAsWhole(t *testing.T) {
	c, b, _ := open(t, true)
	name := "20260314T081502Z-KP-01"
	folder := filepath.Join(b.records, name)
	if err := os.MkdirAll(folder, 0o755); err != nil {
		t.Fatal(err)
	}
	lines := strings.Repeat("pressure,sensor=p1 pa=101325 1000000000\n", 50_000)
	z, err := zstd.NewWriter(nil)
	if err != nil {
		t.Fatal(err)
	}
	packed := z.EncodeAll([]byte(lines), nil)
	file := filepath.Join(folder, "readings.lp.zst")
	if err := os.WriteFile(file, packed, 0o644); err != nil {
		t.Fatal(err)
	}
	if status, body := c.send("GET", "/records/"+name+"/readings.lp", ""); status != http.StatusOK || body != lines {
		t.Errorf("%d, %d bytes of %d", status, len(body), len(lines))
	}
	if err := os.WriteFile(file, packed[:len(packed)-8], 0o644); err != nil {
		t.Fatal(err)
	}
	resp, err := c.http.Get(c.base + "/records/" + name + "/readings.lp")
	if err != nil {
		return // cut off before the first byte
	}
	defer resp.Body.Close()
	if body, err := io.ReadAll(resp.Body); err == nil && resp.StatusCode == http.StatusOK {
		t.Errorf("%d bytes of a torn file look like the whole", len(body))
	}
}
