package browsertest

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

var program string

func TestMain(m *testing.M) {
	dir, err := os.MkdirTemp("", "proofpot-browser")
	if err != nil {
		panic(err)
	}
	program = filepath.Join(dir, "proofpot")
	if out, err := exec.Command("go", "build", "-o", program, "proofpot/cmd/proofpot").CombinedOutput(); err != nil {
		fmt.Fprintf(os.Stderr, "%s", out)
		os.Exit(1)
	}
	code := m.Run()
	os.RemoveAll(dir)
	os.Exit(code)
}

// bench is a server at work in a folder of its own.
type bench struct {
	t       *testing.T
	dir     string
	url     string
	said    []string
	process *exec.Cmd
}

func serve(t *testing.T, args ...string) *bench {
	t.Helper()
	b := &bench{t: t, dir: t.TempDir()}
	b.start("127.0.0.1:0", args...)
	t.Cleanup(b.stop)
	return b
}

func (b *bench) start(listen string, args ...string) {
	b.t.Helper()
	b.process = exec.Command(program, append([]string{"serve", "--listen", listen, "--state", "state"}, args...)...)
	b.process.Dir = b.dir
	b.process.Stderr = testWriter{b.t}
	out, err := b.process.StdoutPipe()
	if err != nil {
		b.t.Fatal(err)
	}
	if err := b.process.Start(); err != nil {
		b.t.Fatal(err)
	}
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		b.said = append(b.said, lines.Text())
		if strings.HasPrefix(lines.Text(), "http") {
			b.url = lines.Text()
			return
		}
	}
	b.t.Fatalf("the server did not say where it is: %q", b.said)
}

func (b *bench) stop() {
	_ = b.process.Process.Signal(syscall.SIGINT)
	done := make(chan struct{})
	go func() { _ = b.process.Wait(); close(done) }()
	select {
	case <-done:
	case <-time.After(20 * time.Second):
		_ = b.process.Process.Kill()
		b.t.Error("the server did not end within 20 s")
	}
}

type testWriter struct{ t *testing.T }

func (w testWriter) Write(p []byte) (int, error) {
	w.t.Log(strings.TrimRight(string(p), "\n"))
	return len(p), nil
}

// browser is one browser with a profile of its own; it fails the test on any
// error that the page writes to its console.
type browser struct {
	t   *testing.T
	ctx context.Context

	mu    sync.Mutex
	quiet bool // errors are expected: the server is gone
}

func open(t *testing.T) *browser {
	t.Helper()
	if testing.Short() {
		t.Skip("a browser takes its time: not with -short")
	}
	if _, err := exec.LookPath("chromium"); err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("chromium is not here; .ci/run installs it")
		}
		t.Skip("chromium is not here (Debian: chromium)")
	}
	allocator, stop := chromedp.NewExecAllocator(context.Background(), append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath("chromium"), chromedp.NoSandbox, chromedp.IgnoreCertErrors, chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true))...)
	b := &browser{t: t}
	ctx, cancel := chromedp.NewContext(allocator)
	b.ctx = ctx
	t.Cleanup(func() { cancel(); stop() })
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(1280, 900)); err != nil { // starts the browser
		t.Fatal(err)
	}
	if err := chromedp.Listen(ctx, func(ev any) {
		b.mu.Lock()
		defer b.mu.Unlock()
		if b.quiet {
			return
		}
		switch e := ev.(type) {
		case *runtime.EventExceptionThrown:
			t.Errorf("the page threw: %s", e.ExceptionDetails.Text)
		case *runtime.EventConsoleAPICalled:
			if e.Type == "error" {
				t.Errorf("the page's console: %v", e.Args)
			}
		}
	}); err != nil {
		t.Fatal(err)
	}
	return b
}

func (b *browser) do(steps ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, 60*time.Second)
	defer cancel()
	if err := chromedp.Do(ctx, steps...); err != nil {
		b.picture("failed")
		b.t.Fatal(err)
	}
}

func ask[T any](b *browser, script string) T {
	b.t.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](script, chromedp.EvalAwaitPromise))
	if err != nil {
		b.t.Fatalf("%s: %v", script, err)
	}
	return v
}

// waits until a script says true.
func (b *browser) waits(what, script string) {
	b.t.Helper()
	for deadline := time.Now().Add(90 * time.Second); time.Now().Before(deadline); time.Sleep(50 * time.Millisecond) {
		if v, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool](script)); err == nil && v {
			return
		}
	}
	b.picture("failed")
	b.t.Fatalf("%s did not come about: %s; the page says\n%s", what, script, ask[string](b, "document.body.innerText"))
}

func (b *browser) shows(id, want string) {
	b.t.Helper()
	w, _ := json.Marshal(want)
	b.waits(id+" with "+want, fmt.Sprintf(`document.getElementById(%q).textContent.includes(%s)`, id, w))
}

func (b *browser) click(css string) {
	b.t.Helper()
	b.do(chromedp.Click(chromedp.CSS(css)))
}

// picture keeps what the page looks like, where somebody wants to look: those of
// the README are made so, PROOFPOT_PICTURES=FOLDER go test ./cmd/proofpot/page/browsertest.
func (b *browser) picture(name string) {
	dir := os.Getenv("PROOFPOT_PICTURES")
	if dir == "" {
		return
	}
	png, err := chromedp.Run(b.ctx, chromedp.CaptureScreenshot())
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644)
	}
	if err != nil && !errors.Is(err, context.Canceled) {
		b.t.Log(err)
	}
}

// begin takes the control and starts a test from the page.
func (b *browser) begin(url, profile string) {
	b.t.Helper()
	b.do(chromedp.Navigate(url))
	b.waits("the page", `!document.getElementById('foot').hidden && document.body.dataset.link === 'live'`)
	b.click("#take")
	b.shows("holder", "You have the control")
	b.click(`[data-view="test"]`)
	b.waits("the choices", `document.getElementById('choiceprofile').options.length > 5`)
	b.do(chromedp.SetValue(chromedp.CSS("#choiceprofile"), profile))
	ask[chromedp.Void](b, `document.getElementById('choiceprofile').dispatchEvent(new Event('change'))`)
	b.waits("the plan", `!!document.querySelector('#plansvg img') && document.getElementById('planword').textContent.startsWith('This bench can')`)
	b.click("#acknowledged")
	b.click("#start")
}
