package manual

import (
	"fmt"
	"strings"

	"github.com/alecthomas/kong"
)

// escape makes text safe for troff: man(7).
func escape(text string) string {
	text = strings.NewReplacer(`\`, `\e`, "-", `\-`, "…", "...", "’", "'").Replace(text)
	lines := strings.Split(text, "\n")
	for i, l := range lines {
		if strings.HasPrefix(l, ".") || strings.HasPrefix(l, "'") {
			lines[i] = `\&` + l
		}
	}
	return strings.Join(lines, "\n")
}

// Page is a man page in section 1.
type Page struct{ Name, Text string }

// Pages gives the program's page and one for each of its verbs, with what is
// below a verb in the verb's page.
func Pages(app *kong.Node, version string) []Page {
	all := []Page{{app.Name + ".1", main(app, version)}}
	for _, verb := range shown(app) {
		var b strings.Builder
		title(&b, app.Name+"-"+verb.Name, version, verb.Help)
		b.WriteString(".SH SYNOPSIS\n")
		every(verb, func(n *kong.Node) {
			if n.Leaf() {
				fmt.Fprintf(&b, ".B %s\n%s\n.br\n", escape(path(n)), escape(arguments(n)))
			}
		})
		b.WriteString(".SH DESCRIPTION\n")
		every(verb, func(n *kong.Node) { describe(&b, n, n != verb) })
		fmt.Fprintf(&b, ".SH SEE ALSO\n.BR %s (1)\n", escape(app.Name))
		all = append(all, Page{app.Name + "-" + verb.Name + ".1", b.String()})
	}
	return all
}

func main(app *kong.Node, version string) string {
	var b strings.Builder
	title(&b, app.Name, version, app.Help)
	fmt.Fprintf(&b, ".SH SYNOPSIS\n.B %s\n.I verb\n.RI [ flags ]\n.SH VERBS\n", escape(app.Name))
	for _, verb := range shown(app) {
		fmt.Fprintf(&b, ".TP\n.BR %s (1)\n%s\n", escape(app.Name+"-"+verb.Name), escape(verb.Help))
	}
	b.WriteString(`.SH EXIT STATUS
.TP
.B 0
done, and the answer is yes
.TP
.B 1
the answer is no: a failed or inconclusive test, a broken chain
.TP
.B 2
wrong use, or input that cannot be read
.TP
.B 3
the bench or a device failed
.TP
.B 4
stopped by the operator
.SH CAUTION
A chamber under pressure can kill. This program is no safety system: the relief valve and the barrier are. Local law
and codes for pressure tests apply; where they ask for a competent person, he decides.
`)
	return b.String()
}

func title(b *strings.Builder, name, version, help string) {
	fmt.Fprintf(b, ".TH %s 1 \"\" \"%s\"\n.ad l\n.SH NAME\n%s \\- %s\n", escape(strings.ToUpper(name)), escape(version), escape(name), escape(strings.TrimSuffix(oneLine(help), ".")))
}

func arguments(n *kong.Node) string {
	var words []string
	for _, p := range n.Positional {
		words = append(words, p.Summary())
	}
	if len(flags(n)) > 0 {
		words = append(words, "[flags]")
	}
	return strings.Join(words, " ")
}

func describe(b *strings.Builder, n *kong.Node, named bool) {
	if named {
		fmt.Fprintf(b, ".SS %s\n%s\n", escape(path(n)), escape(n.Help))
	}
	text, examples := Examples(n.Detail)
	if text != "" {
		b.WriteString(".PP\n" + strings.ReplaceAll(escape(text), "\n\n", "\n.PP\n") + "\n")
	}
	for _, p := range n.Positional {
		fmt.Fprintf(b, ".TP\n.I %s\n%s\n", escape(p.Summary()), escape(oneLine(p.Help)))
	}
	if n.Leaf() {
		for _, f := range flags(n) {
			if f.Name == "help" {
				continue
			}
			text := "--" + f.Name
			if v := value(f); v != "" {
				text += "=" + v
			}
			fmt.Fprintf(b, ".TP\n.B %s\n%s\n", escape(text), escape(oneLine(f.Help)))
		}
	}
	for _, e := range examples {
		fmt.Fprintf(b, ".PP\nExample:\n.PP\n.RS\n.nf\n%s\n.fi\n.RE\n", escape(e))
	}
}

// Examples parts a command's text from its examples, which are its last lines:
// "Example: proofpot …".
func Examples(detail string) (text string, examples []string) {
	var rest []string
	for line := range strings.Lines(detail) {
		line = strings.TrimRight(line, "\n")
		if e, ok := strings.CutPrefix(line, "Example: "); ok {
			examples = append(examples, e)
			continue
		}
		rest = append(rest, line)
	}
	return strings.TrimSpace(strings.Join(rest, "\n")), examples
}
