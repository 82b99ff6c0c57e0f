package browsertest

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

func TestAFailingUnitIsSeenAndARunIsAbortedWithOneTouch(t *testing.T) {
	s := serve(t, "--pace", "100", "--unit-fault", "seep at 24 m, 8 ml/h")
	b := open(t)
	b.begin(s.url, "proof-30m-sea")
	b.shows("phase", "Measuring")
	b.click("#abort")
	b.shows("endtext", "stopped by the operator")
	b.waits("not a pass", `!document.getElementById('endword').textContent.includes('PASS')`)
	b.click(`[data-view="test"]`)
	b.waits("idle", `!document.getElementById('start').disabled`)
	b.click("#start") // the cautions are ticked still
	b.shows("endword", "FAIL: do not dive")
	b.picture("end-failed")
}

// TestTwoPeopleAtOnceOneCommandsBothMayStop: the second page sees who has the
// control, cannot command, and aborts all the same.
func TestTwoPeopleAtOnceOneCommandsBothMayStop(t *testing.T) {
	s := serve(t, "--pace", "60")
	first, second := open(t), open(t)
	first.begin(s.url, "proof-30m-sea")
	second.do(chromedp.Navigate(s.url))
	second.shows("holder", "somebody has the control")
	second.shows("phase", "shallow")
	if !ask[bool](second, `document.getElementById('skip').disabled && document.getElementById('start').disabled`) {
		t.Error("who has not the control can command")
	}
	if said := ask[string](second, `fetch('/api/skip', {method: 'POST', headers: {'X-Client': 'someone-else'}}).then(r => r.json()).then(o => o.error)`); !strings.Contains(said, "has the control") {
		t.Errorf("a command without the control: %q", said)
	}
	second.click("#abort")
	for _, b := range []*browser{first, second} {
		b.shows("endtext", "stopped by the operator")
	}
	second.click("#take")
	second.shows("holder", "You have the control")
	first.shows("holder", "somebody has the control")
}

func TestAReloadInTheMiddleShowsTheSameRun(t *testing.T) {
	s := serve(t, "--pace", "60")
	b := open(t)
	b.begin(s.url, "proof-30m-sea")
	b.shows("phase", "Measuring")
	b.do(chromedp.Reload())
	b.shows("phase", "Measuring")
	b.shows("holder", "You have the control") // the tab is the same client
	b.waits("the events of before", `document.querySelectorAll('#events li').length >= 2`)
	b.click("#skip")
	b.shows("phase", "25 percent")
}

// TestAServerThatIsGoneIsSeenAndItsReturnToo: figures go grey, nothing looks
// fresh, and the page finds the new server by itself.
func TestAServerThatIsGoneIsSeenAndItsReturnToo(t *testing.T) {
	s := serve(t, "--pace", "20")
	b := open(t)
	b.begin(s.url, "proof-30m-sea")
	b.waits("a reading", `document.getElementById('pressure').textContent !== '–'`)
	b.mu.Lock()
	b.quiet = true
	b.mu.Unlock()
	if err := s.process.Process.Signal(syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	_ = s.process.Wait()
	b.waits("a reading that is old", `document.querySelector('.gauge').classList.contains('old') && document.getElementById('age').textContent.includes('OLD')`)
	b.waits("no connection", `document.body.dataset.link !== 'live'`)
	b.picture("gone")
	s.start(strings.TrimSuffix(strings.TrimPrefix(s.url, "http://"), "/"), "--pace", "20")
	b.waits("the new server", `document.body.dataset.link === 'live' && document.body.dataset.what === 'idle'`)
	b.click("#take")
	b.shows("holder", "You have the control")
	ask[chromedp.Void](b, `window.confirm = () => true`)
	b.click(`[data-view="records"]`)
	b.waits("the run that was cut off", `document.getElementById('records').textContent.includes('cut off')`)
	b.click("#records button")
	b.waits("the run to go on", `document.body.dataset.what === 'running' && document.getElementById('phase').textContent.includes('shallow')`)
	b.click("#abort")
	b.shows("endtext", "stopped by the operator")
}

func TestAHandPumpIsLedByLargePrompts(t *testing.T) {
	s := serve(t, "--pace", "30", "--by-hand")
	b := open(t)
	b.do(chromedp.EmulateViewport(390, 844))
	b.begin(s.url, "proof-10m-sea")
	b.waits("the prompt to pump", `!document.getElementById('wish').hidden && document.getElementById('wishtext').textContent.includes('pump up')`)
	if size := ask[float64](b, `parseFloat(getComputedStyle(document.getElementById('wishtext')).fontSize)`); size < 26 {
		t.Errorf("the prompt is %g px large", size)
	}
	b.shows("wishfigures", "gauge")
	b.picture("hand-phone")
	b.shows("wishtext", "take your hands off")
	b.shows("wishtext", "wait, hands off")
}

// TestEverythingCanBeDoneByKeyboard starts and aborts a run with Tab, arrows,
// Space and Enter alone.
func TestEverythingCanBeDoneByKeyboard(t *testing.T) {
	s := serve(t, "--pace", "60")
	b := open(t)
	b.do(chromedp.Navigate(s.url))
	b.waits("the page", `!document.getElementById('foot').hidden && document.body.dataset.link === 'live'`)
	tabTo := func(id string) {
		t.Helper()
		for range 60 {
			if ask[bool](b, fmt.Sprintf(`document.activeElement.matches(%q)`, id)) {
				if !ask[bool](b, `(s => s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2)(getComputedStyle(document.activeElement.closest('label.file') || document.activeElement))`) {
					t.Errorf("%s does not show that it has the focus", id)
				}
				return
			}
			b.do(chromedp.KeyEvent("\t"))
		}
		t.Fatalf("%s cannot be reached by Tab", id)
	}
	tabTo("#take")
	b.do(chromedp.KeyEvent("\r"))
	b.shows("holder", "You have the control")
	ask[chromedp.Void](b, `document.activeElement.blur()`)
	tabTo(`[data-view="test"]`)
	b.do(chromedp.KeyEvent("\r"))
	b.waits("the plan", `document.getElementById('planword').textContent !== ''`)
	tabTo("#acknowledged")
	b.do(chromedp.KeyEvent(" "))
	tabTo("#start")
	b.do(chromedp.KeyEvent("\r"))
	b.waits("a run", `document.body.dataset.what === 'running' && !document.getElementById('abort').hidden`)
	tabTo("#abort")
	b.do(chromedp.KeyEvent("\r"))
	b.shows("endtext", "stopped by the operator")
}

func TestANoteAndAPhotographStandInTheRecord(t *testing.T) {
	s := serve(t, "--pace", "60")
	b := open(t)
	b.begin(s.url, "proof-30m-sea")
	b.shows("phase", "shallow")
	b.waits("a note to be possible", `!document.getElementById('note').disabled`)
	b.do(chromedp.SendKeys(chromedp.CSS("#note"), "bubbles at the gland\n"))
	b.waits("the note", `document.getElementById('events').textContent.includes('bubbles at the gland')`)
	photo := filepath.Join(t.TempDir(), "gland.png")
	png, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(100))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(photo, png, 0o600); err != nil {
		t.Fatal(err)
	}
	b.do(chromedp.SetUploadFiles(chromedp.CSS("#photo"), []string{photo}))
	b.waits("the photograph", `document.getElementById('events').textContent.includes('photograph photos/')`)
	b.click("#abort")
	b.shows("endtext", "stopped by the operator")
	found, _ := filepath.Glob(filepath.Join(s.dir, "records", "*", "photos", "*.png"))
	if len(found) != 1 {
		t.Fatalf("photographs: %v", found)
	}
	record := filepath.Dir(filepath.Dir(found[0]))
	lines, err := os.ReadFile(filepath.Join(record, "readings.lp"))
	if err != nil || !strings.Contains(string(lines), "bubbles at the gland") || !strings.Contains(string(lines), filepath.Base(found[0])) {
		t.Errorf("the record does not hold the note and the photograph (%v)", err)
	}
	if out, err := exec.Command(program, "verify", record).CombinedOutput(); err != nil {
		t.Errorf("%v: %s", err, out)
	}
}

// TestTheLanguageTheUnitsAndTheLightAreTheReaders goes through the settings.
func TestTheLanguageTheUnitsAndTheLightAreTheReaders(t *testing.T) {
	s := serve(t, "--pace", "60")
	b := open(t)
	b.begin(s.url, "proof-30m-sea")
	b.shows("phase", "shallow")
	set := func(id, value string) {
		ask[chromedp.Void](b, fmt.Sprintf(`(e => { e.value = %q; e.dispatchEvent(new Event('change')); })(document.getElementById(%q))`, value, id))
	}
	set("lookdepth", "ft")
	set("lookpressure", "psi")
	set("looklanguage", "de")
	set("looklight", "dark")
	b.shows("safetytext", "NICHT ÖFFNEN")
	b.shows("depthunit", "ft")
	b.shows("pressureunit", "psi Überdruck")
	time.Sleep(time.Second)
	b.picture("german-dark")
	if left := ask[string](b, `[...document.querySelectorAll('[data-t]')].filter(e => !e.textContent).map(e => e.dataset.t).join()`); left != "" {
		t.Errorf("without a text: %s", left)
	}
	b.do(chromedp.Reload())
	b.shows("safetytext", "NICHT ÖFFNEN")
}
