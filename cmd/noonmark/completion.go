package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/alecthomas/kong"
)

// completion prints a script that completes commands and flags. It is made from
// the grammar itself, so that it cannot fall behind.
func completion(shell string, out io.Writer) error {
	k, err := kong.New(&usage{}, kong.Name("noonmark"))
	if err != nil {
		return fmt.Errorf("completion: %w", err)
	}
	switch shell {
	case "fish":
		for _, c := range k.Model.Children {
			fmt.Fprintf(out, "complete -c noonmark -n __fish_use_subcommand -f -a %s -d %q\n", c.Name, c.Help)
			for _, f := range c.Flags {
				fmt.Fprintf(out, "complete -c noonmark -n '__fish_seen_subcommand_from %s' -l %s -d %q\n", c.Name, f.Name, f.Help)
			}
		}
		return nil
	case "zsh":
		fmt.Fprintln(out, "#compdef noonmark\nautoload -U +X bashcompinit && bashcompinit")
	}
	var names []string
	cases := ""
	for _, c := range k.Model.Children {
		names = append(names, c.Name)
		var flags []string
		for _, f := range c.Flags {
			flags = append(flags, "--"+f.Name)
		}
		cases += fmt.Sprintf("    %s) words=%q ;;\n", c.Name, strings.Join(flags, " "))
	}
	_, err = fmt.Fprintf(out, `_noonmark() {
  local words cur="${COMP_WORDS[COMP_CWORD]}"
  case "${COMP_WORDS[1]}" in
%s    *) words=%q ;;
  esac
  if [ "$COMP_CWORD" -eq 1 ]; then words=%q; fi
  COMPREPLY=($(compgen -W "$words" -- "$cur"))
  [ ${#COMPREPLY[@]} -eq 0 ] && COMPREPLY=($(compgen -f -- "$cur"))
  return 0
}
complete -F _noonmark noonmark
`, cases, strings.Join(names, " "), strings.Join(names, " "))
	return err
}
