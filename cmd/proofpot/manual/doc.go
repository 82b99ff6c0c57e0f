// Package manual writes man pages and the completions of shells from the model
// of the command line, so that they say what the program does.
package manual

import (
	"strings"

	"github.com/alecthomas/kong"
)

// path is the words that lead to a command: "proofpot unit close".
func path(n *kong.Node) string {
	if n.Parent == nil {
		return n.Name
	}
	return path(n.Parent) + " " + n.Name
}

// shown lists the commands directly below one.
func shown(n *kong.Node) []*kong.Node {
	var all []*kong.Node
	for _, c := range n.Children {
		if !c.Hidden {
			all = append(all, c)
		}
	}
	return all
}

// flags lists the flags of a command, its own and those it has from above.
func flags(n *kong.Node) []*kong.Flag {
	var all []*kong.Flag
	for _, group := range n.AllFlags(true) {
		all = append(all, group...)
	}
	return all
}

// every goes through a command and all below it.
func every(n *kong.Node, do func(*kong.Node)) {
	do(n)
	for _, c := range shown(n) {
		every(c, do)
	}
}

// oneLine is a help text without line ends.
func oneLine(text string) string { return strings.Join(strings.Fields(text), " ") }

// value is how a flag's value is written; empty where it takes none.
func value(f *kong.Flag) string {
	if f.IsBool() || f.IsCounter() {
		return ""
	}
	return f.FormatPlaceHolder()
}
