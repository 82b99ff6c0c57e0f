package words

import (
	"cmp"
	"regexp"
	"slices"
	"strings"
	"sync"
)

// pattern finds texts that were made from a key by filling it in.
type pattern struct {
	key     string
	starts  string // what such a text begins with
	finds   *regexp.Regexp
	numbers []bool // of its gaps: whether a number stands there
	letters int    // that are not a gap
}

var gap = regexp.MustCompile(`%(\[\d+\])?[-+#0]*[\d.]*([sdfgqvx%])`)

// patterns are those of the analysis's keys with gaps, the most particular first.
var patterns = sync.OnceValue(func() []pattern {
	var all []pattern
	for _, key := range whole().said {
		if p, ok := newPattern(key); ok {
			all = append(all, p)
		}
	}
	slices.SortStableFunc(all, func(a, b pattern) int { return cmp.Compare(b.letters, a.letters) })
	return all
})

func newPattern(key string) (pattern, bool) {
	p := pattern{key: key}
	var expr strings.Builder
	last := 0
	for _, m := range gap.FindAllStringSubmatchIndex(key, -1) {
		static := key[last:m[0]]
		if len(p.numbers) == 0 {
			p.starts += static
		}
		expr.WriteString(regexp.QuoteMeta(static))
		p.letters += len(static)
		switch key[m[4]:m[5]] {
		case "%":
			expr.WriteByte('%')
			if len(p.numbers) == 0 {
				p.starts += "%"
			}
		case "s", "v":
			expr.WriteString(`(.+?)`)
			p.numbers = append(p.numbers, false)
		case "q":
			expr.WriteString(`(".*?")`)
			p.numbers = append(p.numbers, false)
		default:
			expr.WriteString(`([-+−]?(?:\d+(?:\.\d+)?(?:e[-+]?\d+)?|Inf|NaN))`)
			p.numbers = append(p.numbers, true)
		}
		last = m[1]
	}
	if len(p.numbers) == 0 {
		return p, false
	}
	expr.WriteString(regexp.QuoteMeta(key[last:]))
	p.letters += len(key) - last
	p.finds = regexp.MustCompile("^" + expr.String() + "$")
	return p, p.letters > 0
}

// Say gives what the analysis said in English, whole or in parts that "; " joins,
// in the language. What the table does not know, names and what a record quotes, is
// left as it is.
func (l Language) Say(text string) string {
	said, _ := l.say(text)
	return said
}

var quantity = regexp.MustCompile(`^[-+−]?\d+(\.\d+)?( \S+)?$`)

// say also tells whether all of the text was known.
func (l Language) say(text string) (said string, known bool) {
	if l == "" || l == English || text == "" {
		return text, true
	}
	if t, ok := whole().texts[l][text]; ok {
		return t, true
	}
	for _, p := range patterns() {
		if !strings.HasPrefix(text, p.starts) {
			continue
		}
		if m := p.finds.FindStringSubmatch(text); m != nil {
			return l.fill(p, m[1:]), true
		}
	}
	if before, after, joined := strings.Cut(text, "; "); joined {
		a, knownA := l.say(before)
		b, knownB := l.say(after)
		return a + "; " + b, knownA && knownB
	}
	if quantity.MatchString(text) {
		return l.number(text), true
	}
	return text, false
}

// number writes a number that fmt wrote.
func (l Language) number(text string) string {
	return strings.ReplaceAll(l.Decimal(text), "-", "−")
}

// fill puts what stood in a key's gaps into those of its translation.
func (l Language) fill(p pattern, values []string) string {
	next := 0
	return gap.ReplaceAllStringFunc(l.T(p.key), func(verb string) string {
		if verb == "%%" {
			return "%"
		}
		if i := strings.IndexByte(verb, '['); i >= 0 {
			next = int(verb[i+1]-'0') - 1
		}
		i := next
		next++
		if i >= len(values) {
			return verb
		}
		if p.numbers[i] {
			return l.number(values[i])
		}
		return l.Say(values[i])
	})
}
