package browsertest

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// axe fetches axe-core (Deque Systems, MPL-2.0), the accessibility checker, for
// the test alone, by the client of its registry.
func axe(t *testing.T) string {
	t.Helper()
	absent := t.Skipf
	if os.Getenv("CI") != "" {
		absent = t.Fatalf
	}
	if testing.Short() {
		t.Skip("a browser takes its time: not with -short")
	}
	if _, err := exec.LookPath("npm"); err != nil {
		absent("npm is not here to fetch axe-core with")
	}
	dir := t.TempDir()
	install := exec.Command("npm", "install", "--no-audit", "--no-fund", "--ignore-scripts", "--prefix", dir, "axe-core@4")
	if out, err := install.CombinedOutput(); err != nil {
		absent("axe-core cannot be fetched: %s", out)
	}
	script, err := os.ReadFile(filepath.Join(dir, "node_modules", "axe-core", "axe.min.js"))
	if err != nil {
		t.Fatal(err)
	}
	return string(script)
}

func TestAxeFindsNothing(t *testing.T) {
	script := axe(t)
	s := serve(t, "--pace", "60")
	b := open(t)
	b.begin(s.url, "proof-30m-sea")
	b.shows("phase", "Measuring")
	b.waits("the picture", `!!document.querySelector('#picture svg')`)
	look := func() string {
		return ask[string](b, script+`;axe.run(document, {resultTypes: ['violations']}).then(r => r.violations.map(v => v.id + ': ' + v.help + ' at ' + v.nodes.map(n => n.target.join(' ') + ' ' + (n.any[0] || {}).message).join('; ')).join('\n'))`)
	}
	check := func(where string) {
		t.Helper()
		if found := look(); found != "" {
			t.Errorf("%s:\n%s", where, found)
		}
	}
	for _, light := range []string{"auto", "dark", "sun"} {
		ask[chromedp.Void](b, `document.documentElement.dataset.light = '`+light+`'`)
		for _, view := range []string{"now", "test", "records", "look"} {
			b.click(`[data-view="` + view + `"]`)
			check(view + ", light " + light)
		}
	}
	// The checker itself: a planted fault is found.
	ask[chromedp.Void](b, `document.getElementById('views').insertAdjacentHTML('afterbegin', '<img src="/icon.svg">')`)
	if found := look(); !strings.Contains(found, "image-alt") {
		t.Errorf("a picture without a text for those who cannot see it was not found: %q", found)
	}
}
