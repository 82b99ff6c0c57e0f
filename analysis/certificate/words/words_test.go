package words

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

func TestEveryTextStandsInEveryLanguageWithTheSameGaps(t *testing.T) {
	gaps := func(text string) []string {
		var all []string
		plain := 0
		for _, m := range gap.FindAllStringSubmatch(text, -1) {
			at := m[1]
			if at == "" && m[2] != "%" {
				plain++
				at = fmt.Sprintf("[%d]", plain)
			}
			all = append(all, at+strings.Replace(m[0], m[1], "", 1))
		}
		slices.Sort(all)
		return slices.Compact(all)
	}
	for l, texts := range whole().texts {
		if len(texts) != len(whole().texts[English]) {
			t.Errorf("%s: %d texts, want %d", l, len(texts), len(whole().texts[English]))
		}
		for key, text := range texts {
			if strings.TrimSpace(text) == "" || text != strings.TrimRight(text, " ") && text == strings.TrimLeft(text, " ") {
				t.Errorf("%s: %q is %q", l, key, text)
			}
			if strings.HasPrefix(key, " ") != strings.HasPrefix(text, " ") || strings.HasPrefix(key, "probe %s was wet for one reading at") {
				continue // one that turns the order round
			}
			if a, b := gaps(key), gaps(text); !slices.Equal(a, b) {
				t.Errorf("%s: %q has the gaps %q, want %q", l, text, b, a)
			}
		}
	}
}

func TestATableThatIsNotWholeIsRefused(t *testing.T) {
	for text, want := range map[string]string{
		"de\ten\n":          `words.tsv:1: the first column is "de": want en`,
		"en\tde\nyes\n":     "words.tsv:2: 1 texts, want 2",
		"en\nyes\n#\nyes\n": `words.tsv:4: "yes" stands twice`,
	} {
		if _, err := read(text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}

func TestALanguageThatTheTableLacksIsRefused(t *testing.T) {
	for l, want := range map[Language]Language{"": English, "en": English, "de": "de"} {
		if got, err := l.Check(); err != nil || got != want {
			t.Errorf("%q: %q, %v", l, got, err)
		}
	}
	if _, err := Language("tlh").Check(); err == nil || err.Error() != `unknown language "tlh": want en or de` {
		t.Error(err)
	}
}

func TestWhatTheAnalysisSaidIsSaidInGerman(t *testing.T) {
	for text, want := range map[string]string{
		"the leak is at least 0.62 ml/h, the limit is 0.5":                            "das Leck ist mindestens 0,62 ml/h, der Grenzwert 0,5",
		"hold at 22.5 m: the leak is at least 1e-05 ml/h, the limit is 0.5":           "Haltezeit bei 22,5 m: das Leck ist mindestens 1e−05 ml/h, der Grenzwert 0,5",
		"2 sudden losses of pressure went before":                                     "2 plötzliche Druckverluste gingen voraus",
		"the gas changed by -0.41 K in the hold, which alone makes -3 Pa: too little": "das Gas: Änderung in der Haltezeit um −0,41 K, die allein −3 Pa ausmacht: zu wenig",
		`the unit is made of "PETG 1.2"`:                                              `der Prüfling ist aus "PETG 1.2"`,
		"probe w1 was wet for one reading at 12:30:05":                                "Fühler w1 war um 12:30:05 einen Messwert lang nass",
		"the wet probe is wet; the water is cold":                                     "der Nässefühler ist nass; the water is cold",
		"a second transducer stays with the first within 2.52 kPa":                    "ein zweiter Aufnehmer bleibt innerhalb 2,52 kPa beim ersten",
		"quick-check 1.5": "quick-check 1.5",
		"":                "",
	} {
		if got := Language("de").Say(text); got != want {
			t.Errorf("%q became %q, want %q", text, got, want)
		}
		if got := English.Say(text); got != text {
			t.Errorf("%q became %q in English", text, got)
		}
	}
}

// TestNoFilledInTextIsTakenForAnother fills each text in and wants its own translation.
func TestNoFilledInTextIsTakenForAnother(t *testing.T) {
	fill := func(text string) string {
		n := 0
		return gap.ReplaceAllStringFunc(text, func(verb string) string {
			if verb == "%%" {
				return "%"
			}
			n++
			if i := strings.IndexByte(verb, '['); i >= 0 {
				n = int(verb[i+1] - '0')
			}
			if strings.HasSuffix(verb, "s") {
				return fmt.Sprintf("»%d«", n)
			}
			if strings.HasSuffix(verb, "q") {
				return fmt.Sprintf(`"%d"`, n)
			}
			return strconv.Itoa(n)
		})
	}
	for _, key := range whole().said {
		text := fill(key)
		if _, known := Language("de").say(text); !known {
			t.Errorf("%q is not known", text)
		}
		want := fill(Language("de").T(key))
		if got := Language("de").Say(text); got != want {
			t.Errorf("%q became %q, want %q", text, got, want)
		}
	}
}

var wordy = regexp.MustCompile(`[a-z]{2,}.* [^ ]|^[a-z ]{6,}$`)

// literals are the texts of a file that read like words, but for errors, which
// no certificate prints.
func literals(t *testing.T, file string) []string {
	t.Helper()
	parsed, err := parser.ParseFile(token.NewFileSet(), file, nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	var all []string
	ast.Inspect(parsed, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.ImportSpec:
			return false
		case *ast.CallExpr:
			switch f := n.Fun.(type) {
			case *ast.SelectorExpr:
				x, _ := f.X.(*ast.Ident)
				if x != nil && (x.Name == "errors" || x.Name == "regexp" || x.Name == "fmt" && f.Sel.Name == "Errorf") {
					return false
				}
			case *ast.Ident:
				if f.Name == "panic" || f.Name == "refuse" {
					return false
				}
			}
		case *ast.Field:
			return n.Tag == nil
		case *ast.BinaryExpr:
			if text, ok := joined(n); ok { // a text over several lines
				all = append(all, text)
				return false
			}
		case *ast.BasicLit:
			if text, err := strconv.Unquote(n.Value); err == nil && n.Kind == token.STRING {
				all = append(all, text)
			}
		}
		return true
	})
	return slices.DeleteFunc(all, func(text string) bool { return !wordy.MatchString(text) })
}

func joined(n ast.Expr) (string, bool) {
	switch n := n.(type) {
	case *ast.BinaryExpr:
		a, okA := joined(n.X)
		b, okB := joined(n.Y)
		return a + b, okA && okB && n.Op == token.ADD
	case *ast.BasicLit:
		text, err := strconv.Unquote(n.Value)
		return text, err == nil && n.Kind == token.STRING
	}
	return "", false
}

// TestEveryTextOfTheProgramIsInTheTable reads the sources of all that can stand on
// a certificate: each text in words must be a key, or a part of one that is joined
// from several.
func TestEveryTextOfTheProgramIsInTheTable(t *testing.T) {
	// Pictures that are on no certificate.
	elsewhere := []string{"variants.go", "residuals.go", "pair.go", "trace.go", "plan.go", "altered.go"}
	// Names of things, not words for a reader.
	never := regexp.MustCompile(`^(: no longer |of sensor %s: no longer|resume|gap |settle|humidity|inside|moment|pressure|residuals|certificate|sha256|proofpot|, proofpot|default-src|'; base-uri|@page|A4|letter|; @bottom|; img-src| counter|" |water$| water)`)
	var all strings.Builder
	for key := range whole().texts[English] {
		all.WriteString(key)
		all.WriteByte('\n')
	}
	keys, checked := all.String(), 0
	// found looks for a text, whatever a key has where the text has a gap.
	found := func(text string) bool {
		text = strings.TrimSpace(strings.TrimPrefix(text, "; "))
		if strings.Contains(keys, text) {
			return true
		}
		var expr strings.Builder
		last := 0
		for _, m := range gap.FindAllStringIndex(text, -1) {
			expr.WriteString(regexp.QuoteMeta(text[last:m[0]]) + ".+?")
			last = m[1]
		}
		expr.WriteString(regexp.QuoteMeta(text[last:]))
		return last > 0 && regexp.MustCompile(expr.String()).MatchString(keys)
	}
	for _, pattern := range []string{"../../*.go", "../*.go", "../plots/*.go", "../units/*.go"} {
		files, err := filepath.Glob(pattern)
		if err != nil || len(files) == 0 {
			t.Fatalf("%s: %v", pattern, err)
		}
		for _, file := range files {
			if strings.HasSuffix(file, "_test.go") || slices.Contains(elsewhere, filepath.Base(file)) {
				continue
			}
			for _, text := range literals(t, file) {
				if checked++; !never.MatchString(text) && !found(text) {
					t.Errorf("%s: %q is not in words.tsv", file, text)
				}
			}
		}
	}
	page, err := os.ReadFile("../certificate.html")
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range regexp.MustCompile(`\.Lang\.[TF] "([^"]*)"`).FindAllStringSubmatch(string(page), -1) {
		if checked++; whole().texts[English][m[1]] == "" {
			t.Errorf("certificate.html: %q is not in words.tsv", m[1])
		}
	}
	if checked < 400 {
		t.Errorf("only %d texts were looked at", checked)
	}
}

func BenchmarkSay(b *testing.B) {
	for b.Loop() {
		Language("de").Say("hold at 22.5 m: the leak may be as much as 0.62 ml/h and the limit is 0.5; the wet probe is wet")
	}
}
