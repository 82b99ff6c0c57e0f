package certificate

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestWhatWasAlteredIsSaid(t *testing.T) {
	s := sceneMakers["burst"](t)
	given := written(t, s.run, s.r, options())
	if diff := Altered([]byte(given), []byte(given)); len(diff) != 0 {
		t.Errorf("the same: %q", diff)
	}
	for name, c := range map[string]struct{ old, new, want string }{
		"a word":      {">Fail: do not dive", ">Pass", `it says "Pass" where the record gives "Fail: do not dive"`},
		"a reason":    {"<h3>Why</h3>", "<h3>Why</h3><p>all is well</p>", `"all is well", of which the record knows nothing`},
		"a picture":   {"stroke-width=\"1\"", "stroke-width=\"9\"", "picture"},
		"a left part": {">Decision rule.</b>", "></b>", `does not say "Decision rule."`},
	} {
		found := strings.Replace(given, c.old, c.new, 1)
		if name == "a picture" {
			i := strings.Index(given, "<path ")
			found = given[:i+6] + "data-x=\"\" " + given[i+6:]
		}
		if found == given {
			t.Fatalf("%s: nothing altered", name)
		}
		if diff := strings.Join(Altered([]byte(found), []byte(given)), "; "); !strings.Contains(diff, c.want) {
			t.Errorf("%s: %s", name, diff)
		}
	}
}

// TestAnyAlterationIsFound changes any byte.
func TestAnyAlterationIsFound(t *testing.T) {
	s := sceneMakers["burst"](t)
	given := []byte(written(t, s.run, s.r, options()))
	rapid.Check(t, func(rt *rapid.T) {
		found := append([]byte(nil), given...)
		i := rapid.IntRange(0, len(found)-1).Draw(rt, "byte")
		found[i] ^= byte(rapid.IntRange(1, 255).Draw(rt, "change"))
		if len(Altered(found, given)) == 0 {
			rt.Fatal("not found")
		}
	})
}
