package benchfile

import (
	"fmt"
	"slices"
	"strings"
)

// ParseAnswers reads lines of "key: answer"; # begins a remark. The error names
// file and line.
func ParseAnswers(file string, data []byte) (Answers, error) {
	a, n := Answers{}, 0
	for line := range strings.Lines(string(data)) {
		n++
		text, _, _ := strings.Cut(line, "#")
		text = strings.TrimSpace(text)
		if text == "" {
			continue
		}
		key, value, ok := strings.Cut(text, ":")
		key = strings.TrimSpace(key)
		if !ok {
			return nil, fmt.Errorf("%s:%d: %q is no line of key: answer", file, n, text)
		}
		if !slices.ContainsFunc(Questions, func(q Question) bool { return q.Key == key }) {
			return nil, fmt.Errorf("%s:%d: nothing is asked with the key %q", file, n, key)
		}
		if _, twice := a[key]; twice {
			return nil, fmt.Errorf("%s:%d: %s was answered above", file, n, key)
		}
		a[key] = strings.TrimSpace(value)
	}
	return a, nil
}

// EncodeAnswers writes what ParseAnswers reads.
func EncodeAnswers(a Answers) []byte {
	var b strings.Builder
	for _, q := range Questions {
		if text, ok := a[q.Key]; ok {
			fmt.Fprintf(&b, "%s: %s\n", q.Key, text)
		}
	}
	return []byte(b.String())
}
