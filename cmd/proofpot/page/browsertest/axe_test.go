package browsertest

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/chromedp/chromedp"
)

// axe fetches axe-core (Deque Systems, MPL-2.0), the accessibility checker, for
// the test alone, by the client of its registry.
func axe(t *testing.T) string {
	t.Helper()
	dir := os.Getenv("PROOFPOT_AXE") // where .ci/run has put it
	if dir == "" {
		if _, err := exec.LookPath("npm"); err != nil {
			t.Skip("npm is not here to fetch axe-core with")
		}
		dir = t.TempDir()
		install := exec.Command("npm", "install", "--no-audit", "--no-fund", "--ignore-scripts", "--prefix", dir, "axe-core@4")
		if out, err := install.CombinedOutput(); err != nil {
			t.Skipf("axe-core cannot be fetched: %s", out)
		}
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
	check := func(where string) {
		t.Helper()
		found := ask[string](b, script+`;axe.run(document, {resultTypes: ['violations']}).then(r => r.violations.map(v => v.id + ': ' + v.help + ' at ' + v.nodes.map(n => n.target.join(' ') + ' ' + (n.any[0] || {}).message).join('; ')).join('\n'))`)
		if found != "" {
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
}
