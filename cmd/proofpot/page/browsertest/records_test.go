package browsertest

import (
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

func TestRecordsAreFoundComparedAndAnalysedAgain(t *testing.T) {
	s := serve(t, "--pace", "0")
	for _, fault := range []string{"", "seep at 24 m, 8 ml/h"} {
		args := []string{"run", "quick-check-30m-sea"}
		if fault != "" {
			args = append(args, "--unit-fault", fault)
		}
		c := exec.Command(program, args...)
		c.Dir = s.dir
		out, err := c.CombinedOutput()
		if exit, ok := err.(*exec.ExitError); err != nil && (!ok || exit.ExitCode() != 1) {
			t.Fatalf("%v: %s", err, out)
		}
		time.Sleep(1100 * time.Millisecond) // a unit can start one run a second
	}
	b := open(t)
	b.do(chromedp.Navigate(s.url))
	b.waits("the page", `!document.getElementById('foot').hidden && document.body.dataset.link === 'live'`)
	b.click("#take")
	b.shows("holder", "You have the control")
	b.click(`[data-view="records"]`)
	b.waits("two records", `document.querySelectorAll('#records tr').length === 2`)
	if text := ask[string](b, `document.getElementById('records').textContent`); !strings.Contains(text, "pass, 30.00 m") || !strings.Contains(text, "fail") {
		t.Errorf("the list says %q", text)
	}
	b.do(chromedp.SendKeys(chromedp.CSS("#filter"), "nobody"))
	b.waits("nothing found", `document.querySelectorAll('#records tr').length === 0`)
	ask[chromedp.Void](b, `(f => { f.value = ''; f.dispatchEvent(new Event('input')); })(document.getElementById('filter'))`)
	b.waits("both again", `document.querySelectorAll('#records tr').length === 2`)
	for i := range 2 {
		b.waits("the box", `document.querySelectorAll('#records input').length === 2`)
		ask[chromedp.Void](b, `document.querySelectorAll('#records input')[`+string(rune('0'+i))+`].click()`)
		time.Sleep(300 * time.Millisecond)
	}
	b.waits("two chosen", `!document.getElementById('compare').disabled`)
	b.click("#compare")
	b.waits("the picture of both", `!!document.querySelector('#pairpicture svg') && document.getElementById('pairpicture').textContent.includes('1: ') && document.getElementById('pairpicture').textContent.includes('2: ')`)
	b.picture("compare")
	b.click("#records tr:first-child td:last-child button")
	b.waits("it analysed again", `!document.querySelector('#records tr:first-child td:last-child button').disabled`)
	link := ask[string](b, `document.querySelector('#records tr:first-child a').href`)
	if status := ask[int](b, `fetch(`+"`"+link+"`"+`).then(r => r.status)`); status != 200 {
		t.Errorf("the certificate: %d", status)
	}
}
