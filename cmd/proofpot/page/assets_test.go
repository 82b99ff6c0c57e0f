package page

import (
	"encoding/json"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// TestThePageWeighsLittle: what a browser loads first, packed.
func TestThePageWeighsLittle(t *testing.T) {
	sum := 0
	for name, a := range assets() {
		if !strings.HasPrefix(name, "/texts/") || name == "/texts/en.json" {
			sum += len(a.packed)
		}
	}
	t.Logf("%d bytes packed", sum)
	if sum > 60<<10 {
		t.Errorf("the page weighs %d bytes packed, more than 60 kB", sum)
	}
}

// TestEveryTextStandsInEveryLanguage: each key that the page uses, and in the
// other languages each key of English, with the same places to fill in.
func TestEveryTextStandsInEveryLanguage(t *testing.T) {
	texts := map[string]map[string]string{}
	for name, a := range assets() {
		if lang, ok := strings.CutPrefix(name, "/texts/"); ok {
			var m map[string]string
			if err := json.Unmarshal(a.plain, &m); err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			texts[strings.TrimSuffix(lang, ".json")] = m
		}
	}
	english := texts["en"]
	if len(texts) < 2 || len(english) < 50 {
		t.Fatalf("%d languages, %d texts", len(texts), len(english))
	}
	places := regexp.MustCompile(`\{\w+\}`)
	for lang, m := range texts {
		for key, text := range english {
			a, b := places.FindAllString(text, -1), places.FindAllString(m[key], -1)
			slices.Sort(a)
			slices.Sort(b)
			if m[key] == "" || !slices.Equal(a, b) {
				t.Errorf("%s, %s: %q for %q", lang, key, m[key], text)
			}
		}
	}
	for _, used := range regexp.MustCompile(`data-ta?="([^"]+)"`).FindAllStringSubmatch(string(assets()["/index.html"].plain), -1) {
		if english[used[1]] == "" {
			t.Errorf("the page asks for the text %q", used[1])
		}
	}
	for _, used := range regexp.MustCompile(`\bt\('([a-z.A-Z-]+)'[,)]`).FindAllStringSubmatch(string(assets()["/app.js"].plain), -1) {
		if english[used[1]] == "" {
			t.Errorf("the script asks for the text %q", used[1])
		}
	}
}

// TestThePageAsksForNothingElsewhere: no address of another machine in it.
func TestThePageAsksForNothingElsewhere(t *testing.T) {
	for name, a := range assets() {
		for _, found := range regexp.MustCompile(`(https?:)?//[a-z0-9.-]+\.[a-z]{2,}`).FindAllString(string(a.plain), -1) {
			if !strings.Contains(found, "www.w3.org") {
				t.Errorf("%s names %s", name, found)
			}
		}
	}
}
