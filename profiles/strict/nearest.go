package strict

import "strings"

// Nearest gives the word among those allowed that a misspelt word most likely
// means. A word of three letters or more that is the beginning of exactly one
// allowed word, a key without its unit say, means that one. Otherwise it is the
// one with the fewest letters inserted, left out, changed or swapped with their
// neighbour (optimal string alignment): at most a third of the longer word, or
// one. False where nothing is near.
func Nearest(word string, allowed []string) (string, bool) {
	low := strings.ToLower(word)
	var begun []string
	best, bestAt := -1, 0
	for i, a := range allowed {
		if len(low) >= 3 && strings.HasPrefix(strings.ToLower(a), low) {
			begun = append(begun, a)
		}
		d := distance(low, strings.ToLower(a))
		if d <= max(1, max(len([]rune(word)), len([]rune(a)))/3) && (best < 0 || d < bestAt) {
			best, bestAt = i, d
		}
	}
	switch {
	case len(begun) == 1:
		return begun[0], true
	case best >= 0:
		return allowed[best], true
	}
	return "", false
}

// distance is the optimal string alignment distance of two words.
func distance(a, b string) int {
	s, t := []rune(a), []rune(b)
	if len(s) > 200 || len(t) > 200 {
		return len(s) + len(t)
	}
	before, row, next := make([]int, len(t)+1), make([]int, len(t)+1), make([]int, len(t)+1)
	for j := range row {
		row[j] = j
	}
	for i := range s {
		next[0] = i + 1
		for j := range t {
			change := 1
			if s[i] == t[j] {
				change = 0
			}
			next[j+1] = min(row[j+1]+1, next[j]+1, row[j]+change)
			if i > 0 && j > 0 && s[i] == t[j-1] && s[i-1] == t[j] {
				next[j+1] = min(next[j+1], before[j-1]+1)
			}
		}
		before, row, next = row, next, before
	}
	return row[len(t)]
}
