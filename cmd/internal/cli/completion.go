package cli

import (
	"fmt"
	"strings"

	"github.com/alecthomas/kong"
)

// script returns a completion script made from the grammar, so that the two
// cannot differ. Words that are no flag and no command are left to the shell,
// which completes file names.
func script(app *kong.Application, shell string) string {
	switch shell {
	case "zsh":
		return zshScript(app)
	case "fish":
		return fishScript(app)
	}
	return bashScript(app)
}

// word is something that can be completed, with its meaning.
type word struct{ text, help string }

func commands(app *kong.Application) (list []word) {
	for _, n := range app.Children {
		if !n.Hidden {
			list = append(list, word{n.Name, n.Help})
		}
	}
	return list
}

// flags lists the flags of a command, those of the whole program included.
func flags(n *kong.Node) (list []word) {
	for _, group := range n.AllFlags(true) {
		for _, f := range group {
			list = append(list, word{"--" + f.Name, f.Help})
		}
	}
	return list
}

// first lists what the first word can be.
func first(app *kong.Application) []word {
	list := append(commands(app), flags(app.Node)...)
	return append(list, word{versionFlag, "Which version of noonmark this is."})
}

// choices lists the fixed words that a command takes.
func choices(n *kong.Node) (list []word) {
	for _, p := range n.Positional {
		if p.Enum != "" {
			for _, v := range strings.Split(p.Enum, ",") {
				list = append(list, word{v, p.Help})
			}
		}
	}
	return list
}

func texts(words ...[]word) string {
	var s []string
	for _, list := range words {
		for _, w := range list {
			s = append(s, w.text)
		}
	}
	return strings.Join(s, " ")
}

func bashScript(app *kong.Application) string {
	var b strings.Builder
	fmt.Fprintf(&b, `_noonmark() {
    local word=${COMP_WORDS[COMP_CWORD]} command= words= i
    for ((i = 1; i < COMP_CWORD; i++)); do
        case ${COMP_WORDS[i]} in
            -*) ;;
            *) command=${COMP_WORDS[i]}; break ;;
        esac
    done
    case $command in
        '') words='%s' ;;
`, texts(first(app)))
	for _, n := range app.Children {
		fmt.Fprintf(&b, "        %s) words='%s' ;;\n", n.Name, texts(choices(n), flags(n)))
	}
	b.WriteString(`    esac
    if [[ -z $command || $word == -* || $command == completion ]]; then
        COMPREPLY=($(compgen -W "$words" -- "$word"))
    fi
}
complete -o bashdefault -o default -F _noonmark noonmark
`)
	return b.String()
}

// quoted puts s in single quotes, as zsh and (with \ for ') fish read them.
func quoted(s string) string { return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'" }

func zshList(b *strings.Builder, words []word) {
	for _, w := range words {
		// _describe splits at the first colon that has no backslash.
		fmt.Fprintf(b, "                %s\n", quoted(w.text+":"+strings.ReplaceAll(w.help, ":", `\:`)))
	}
}

func zshScript(app *kong.Application) string {
	var b strings.Builder
	b.WriteString(`#compdef noonmark
_noonmark() {
    local -a words_
    local command= i
    for ((i = 2; i < CURRENT; i++)); do
        [[ $words[i] == -* ]] || { command=$words[i]; break }
    done
    case $command in
        '')
            words_=(
`)
	zshList(&b, first(app))
	b.WriteString("            ) ;;\n")
	for _, n := range app.Children {
		fmt.Fprintf(&b, "        %s)\n            words_=(\n", n.Name)
		zshList(&b, append(choices(n), flags(n)...))
		b.WriteString("            ) ;;\n")
	}
	b.WriteString(`    esac
    _describe noonmark words_
    [[ -n $command && $PREFIX != -* ]] && _files
}
# Loaded by the completion system, or sourced.
if [[ $funcstack[1] == _noonmark ]]; then
    _noonmark "$@"
else
    compdef _noonmark noonmark
fi
`)
	return b.String()
}

func fishScript(app *kong.Application) string {
	var b strings.Builder
	line := func(condition string, w word) {
		fmt.Fprintf(&b, "complete -c noonmark -n '%s' -d %s ", condition, quoted(w.help))
		if name, ok := strings.CutPrefix(w.text, "--"); ok {
			fmt.Fprintf(&b, "-l %s\n", name)
		} else {
			fmt.Fprintf(&b, "-f -a %s\n", w.text)
		}
	}
	for _, w := range first(app) {
		line("__fish_use_subcommand", w)
	}
	for _, n := range app.Children {
		for _, w := range append(choices(n), flags(n)...) {
			line("__fish_seen_subcommand_from "+n.Name, w)
		}
	}
	return b.String()
}
