package browsertest

import (
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

func TestAWholeRunIsStartedWatchedAndEndedFromThePage(t *testing.T) {
	s := serve(t, "--pace", "100", "--seed", "3")
	b := open(t)
	b.begin(s.url, "quick-check-30m-sea")
	b.shows("safetytext", "UNDER PRESSURE")
	b.shows("phase", "Measuring")
	b.waits("the leak", `document.getElementById('leaktext').textContent.includes('ml/h')`)
	b.waits("the picture", `!!document.querySelector('#picture svg')`)
	time.Sleep(500 * time.Millisecond)
	b.picture("now-desk")
	b.do(chromedp.EmulateViewport(390, 844))
	b.picture("now-phone")
	b.do(chromedp.EmulateViewport(1280, 900))
	b.shows("endword", "PASS")
	b.shows("safetytext", "Vented")
	b.picture("end-desk")
	b.click(`[data-view="records"]`)
	b.waits("the record", `document.querySelectorAll('#records tr').length === 1`)
	b.picture("records")
	b.click(`[data-view="test"]`)
	time.Sleep(300 * time.Millisecond)
	b.picture("test")
}
