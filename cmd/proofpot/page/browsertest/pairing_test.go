package browsertest

import (
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// TestATelephoneIsPairedAndMayOnlySeeAndStop enters a wrong code, then that of a
// viewer, over HTTPS with the bench's own certificate.
func TestATelephoneIsPairedAndMayOnlySeeAndStop(t *testing.T) {
	s := serve(t, "--pace", "30", "--pair", "--view-code", "seeandstop", "--control-code", "command1")
	if !strings.HasPrefix(s.url, "https://") || len(s.said) < 3 || !strings.Contains(s.said[2], "certificate (SHA-256): ") {
		t.Fatalf("the terminal says %q", s.said)
	}
	master, phone := open(t), open(t)
	enter := func(b *browser, code string) {
		b.waits("the question for the code", `!document.getElementById('pairing').hidden`)
		b.do(chromedp.SetValue(chromedp.CSS("#code"), code), chromedp.Click(chromedp.CSS("#pairform button")))
	}
	master.do(chromedp.Navigate(s.url))
	if hidden := ask[bool](master, `document.getElementById('views').hidden && document.getElementById('foot').hidden`); !hidden {
		t.Error("something is shown before the code")
	}
	enter(master, "command1")
	master.waits("the bench", `!document.getElementById('foot').hidden`)
	master.begin(s.url, "proof-30m-sea")
	master.shows("phase", "shallow")

	phone.do(chromedp.EmulateViewport(390, 844), chromedp.Navigate(s.url))
	phone.mu.Lock()
	phone.quiet = true // a refused code is an error of its console
	phone.mu.Unlock()
	enter(phone, "guess")
	phone.shows("pairwrong", "that code is not right")
	enter(phone, "See And Stop")
	phone.shows("phase", "shallow")
	if !ask[bool](phone, `document.getElementById('take').hidden && document.getElementById('notepanel').hidden && !document.getElementById('abort').hidden`) {
		t.Error("who may only see is offered more, or not the stop")
	}
	phone.click("#abort")
	master.shows("endtext", "stopped by the operator")
}
