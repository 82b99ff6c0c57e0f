package textline

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
)

// compile makes the pattern of a line. It must match the whole line: a line cut
// short, or two run into one, then give nothing. Go's expressions take time in
// proportion to the line, whatever it holds.
func compile(pattern string) (*regexp.Regexp, error) {
	if strings.TrimSpace(pattern) == "" {
		return nil, wrong("pattern", "no regular expression; name the numbers in it: \"P=(?P<p>[-+0-9.]+) bar\"")
	}
	e, err := regexp.Compile("^(?:" + pattern + ")$")
	if err != nil {
		return nil, wrong("pattern", "is no regular expression: %v", err)
	}
	for i, name := range e.SubexpNames() {
		if name != "" && slices.Contains(e.SubexpNames()[:i], name) {
			return nil, wrong("pattern", "two groups are called %s; in one line each name can stand once", quoted(name))
		}
	}
	return e, nil
}

// splitPattern takes a line apart by the groups of its pattern.
func (p *Parser) splitPattern(body string) (lookup, string) {
	at := p.pattern.FindStringSubmatchIndex(body)
	if at == nil {
		return nil, "not as the pattern has it"
	}
	p.places = p.places[:0]
	for i, name := range p.pattern.SubexpNames() {
		if name != "" && at[2*i] >= 0 {
			p.places = append(p.places, place{name, body[at[2*i]:at[2*i+1]]})
		}
	}
	return p.find, ""
}

// checkGroup says whether a pattern has a group.
func (c *Config) checkGroup(key, name string) error {
	e, err := compile(c.Pattern)
	if err != nil {
		return err
	}
	if names := e.SubexpNames(); !slices.Contains(names, name) {
		var groups []string
		for _, n := range names {
			if n != "" {
				groups = append(groups, n)
			}
		}
		if len(groups) == 0 {
			return wrong("pattern", "has no named group; write (?P<p>…) around each number")
		}
		return wrong(key, "%s is no group of the pattern; it has %s", quoted(name), fmt.Sprint(strings.Join(groups, ", ")))
	}
	return nil
}
