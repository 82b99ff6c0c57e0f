package browsertest

import (
	"bufio"
	"context"
	"fmt"
	"net/http"
	"os"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"
)

// measuring says whether figures were asked for: they take minutes and judge
// nothing.
func measuring(t *testing.T) {
	t.Helper()
	if os.Getenv("PROOFPOT_FIGURES") == "" {
		t.Skip("figures are measured with PROOFPOT_FIGURES=1")
	}
}

// TestFiguresOfAThrottledTelephone measures first paint and the time to live data
// with 400 ms of latency, 50 kB/s, and a processor of a quarter of this one's speed.
func TestFiguresOfAThrottledTelephone(t *testing.T) {
	measuring(t)
	s := serve(t, "--pace", "5")
	warm := open(t)
	warm.begin(s.url, "proof-30m-sea")
	warm.shows("phase", "shallow")
	for range 5 {
		b := open(t)
		b.do(chromedp.EmulateViewport(390, 844))
		slow := func(ctx context.Context, target *chromedp.Target) error {
			if _, err := chromedp.Call(ctx, network.EmulateNetworkConditionsByRule, network.EmulateNetworkConditionsByRuleParams{
				MatchedNetworkConditions: []*network.Conditions{{Latency: 400, DownloadThroughput: 50e3, UploadThroughput: 20e3}}}); err != nil {
				return err
			}
			_, err := chromedp.Call(ctx, emulation.SetCPUThrottlingRate, emulation.SetCPUThrottlingRateParams{Rate: 4})
			return err
		}
		b.do(chromedp.Func(slow))
		started := time.Now()
		b.do(chromedp.Navigate(s.url))
		b.waits("live data", `document.getElementById('pressure').textContent !== '–'`)
		live := time.Since(started)
		paint := ask[float64](b, `performance.getEntriesByName('first-contentful-paint')[0].startTime`)
		t.Logf("first paint %.0f ms, live data within %.0f ms", paint, float64(live.Milliseconds()))
	}
}

// TestFiguresOfTwentyViewers measures the share of a processor that serving takes,
// with none and with twenty viewers of ten readings a second.
func TestFiguresOfTwentyViewers(t *testing.T) {
	measuring(t)
	s := serve(t, "--pace", "5") // a period of 0.5 s: ten steps a second
	b := open(t)
	b.begin(s.url, "proof-30m-sea")
	b.shows("phase", "shallow")
	b.do(chromedp.Navigate("about:blank"))
	spent := func() float64 {
		data, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", s.process.Process.Pid))
		if err != nil {
			t.Fatal(err)
		}
		f := strings.Fields(string(data[strings.LastIndexByte(string(data), ')')+2:]))
		var user, system float64
		fmt.Sscan(f[11], &user)
		fmt.Sscan(f[12], &system)
		return (user + system) / 100 // s; the kernel counts in hundredths
	}
	share := func() float64 {
		from, at := spent(), time.Now()
		time.Sleep(15 * time.Second)
		return 100 * (spent() - from) / time.Since(at).Seconds()
	}
	t.Logf("no viewer: %.2f %% of a core", share())
	var news atomic.Int64
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	for i := range 20 {
		go func() {
			r, err := http.NewRequestWithContext(ctx, http.MethodGet, s.url+fmt.Sprintf("api/news?client=viewer-%d", i), nil)
			if err != nil {
				return
			}
			resp, err := http.DefaultClient.Do(r)
			if err != nil {
				return
			}
			defer resp.Body.Close()
			lines := bufio.NewScanner(resp.Body)
			lines.Buffer(nil, 1<<20)
			for lines.Scan() {
				if lines.Text() == "event: now" {
					news.Add(1)
				}
			}
		}()
	}
	time.Sleep(time.Second)
	before := news.Load()
	got := share()
	t.Logf("20 viewers: %.2f %% of a core, %.1f readings a second each", got, float64(news.Load()-before)/15/20)
}
