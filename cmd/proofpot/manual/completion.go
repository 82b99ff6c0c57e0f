package manual

import (
	"fmt"
	"sort"
	"strings"

	"github.com/alecthomas/kong"
)

// Shells are those that Completion knows.
var Shells = []string{"bash", "zsh", "fish"}

// Completion gives the text that a shell reads to complete the command's words:
// verbs, flags, the words a flag may have, and else files.
func Completion(app *kong.Node, shell string) string {
	switch shell {
	case "bash":
		return bash(app)
	case "zsh": // zsh reads bash's, by its own bashcompinit: zshcompsys(1)
		return "#compdef " + app.Name + "\nautoload -U +X bashcompinit && bashcompinit\n" + bash(app)
	case "fish":
		return fish(app)
	}
	return ""
}

func bash(app *kong.Node) string {
	var words, choices strings.Builder
	every(app, func(n *kong.Node) {
		var list []string
		for _, c := range shown(n) {
			list = append(list, c.Name)
		}
		for _, f := range flags(n) {
			list = append(list, "--"+f.Name)
			if f.Enum != "" {
				fmt.Fprintf(&choices, "    '%s|--%s') words='%s' ;;\n", path(n), f.Name, quote(strings.Join(f.EnumSlice(), " ")))
			} else if value(f) != "" {
				fmt.Fprintf(&choices, "    '%s|--%s') words= ;;\n", path(n), f.Name)
			}
		}
		fmt.Fprintf(&words, "    '%s') words='%s' ;;\n", path(n), quote(strings.Join(list, " ")))
	})
	var verbs []string
	every(app, func(n *kong.Node) {
		if n != app {
			verbs = append(verbs, "'"+path(n)+"'")
		}
	})
	sort.Strings(verbs)
	name := strings.ReplaceAll(app.Name, "-", "_")
	return fmt.Sprintf(`_%[1]s() {
  local word=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD-1]} at=%[2]s words= i
  COMPREPLY=()
  for ((i = 1; i < COMP_CWORD; i++)); do
    case "$at ${COMP_WORDS[i]}" in
    %[3]s) at="$at ${COMP_WORDS[i]}" ;;
    esac
  done
  case "$at" in
%[4]s  esac
  if [[ $before == --* && $word != -* ]]; then
    case "$at|$before" in
%[5]s    esac
  fi
  COMPREPLY=($(compgen -W "$words" -- "$word"))
  if [[ ${#COMPREPLY[@]} -eq 0 && $word != -* ]]; then
    COMPREPLY=($(compgen -f -- "$word"))
  fi
}
complete -o filenames -F _%[1]s %[2]s
`, name, app.Name, strings.Join(verbs, " | "), words.String(), choices.String())
}

func fish(app *kong.Node) string {
	var b strings.Builder
	fmt.Fprintf(&b, `function __%[1]s_is
  test (string join ' ' (string match -v -- '-*' (commandline -opc))) = $argv[1]
end
function __%[1]s_at
  set -l words (string join ' ' (string match -v -- '-*' (commandline -opc)))
  test "$words" = "$argv"; or string match -q -- "$argv *" "$words"
end
`, app.Name)
	every(app, func(n *kong.Node) {
		for _, c := range shown(n) {
			fmt.Fprintf(&b, "complete -c %s -n '__%s_is \"%s\"' -f -a %s -d '%s'\n", app.Name, app.Name, path(n), c.Name, quote(oneLine(c.Help)))
		}
		for _, f := range flags(n) {
			if f.Name == "help" && n != app {
				continue
			}
			takes := ""
			switch {
			case f.Enum != "":
				takes = " -x -a '" + quote(strings.Join(f.EnumSlice(), " ")) + "'"
			case value(f) != "":
				takes = " -r"
			}
			fmt.Fprintf(&b, "complete -c %s -n '__%s_at %s' -l %s%s -d '%s'\n", app.Name, app.Name, path(n), f.Name, takes, quote(oneLine(f.Help)))
		}
	})
	return b.String()
}

// quote makes a text safe between single quotes.
func quote(text string) string { return strings.ReplaceAll(text, "'", "’") }
