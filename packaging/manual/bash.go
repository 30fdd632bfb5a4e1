package manual

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/alecthomas/kong"
)

// Bash writes the completion for bash. It offers commands, a command's flags,
// the words of an enumeration, and files for everything else.
func Bash(w io.Writer, app *kong.Application) error {
	var names, cases strings.Builder
	for _, c := range app.Leaves(true) {
		fmt.Fprintf(&names, " %s", c.Name)
		bashCommand(&cases, c)
	}
	_, err := fmt.Fprintf(w, bashText, names.String()[1:], cases.String())
	return err
}

func bashCommand(b *strings.Builder, c *kong.Node) {
	var flags, dirs []string
	words := "" // of the first argument
	if len(c.Positional) > 0 {
		words = enum(c.Positional[0].Enum)
	}
	var values strings.Builder
	for _, f := range c.Flags {
		flags = append(flags, "--"+f.Name)
		switch {
		case f.Enum != "":
			fmt.Fprintf(&values, "        --%s) words=%q; return;;\n", f.Name, enum(f.Enum))
		case f.PlaceHolder == "DIR":
			dirs = append(dirs, "--"+f.Name)
		case !f.IsBool() && f.PlaceHolder != "FILE":
			fmt.Fprintf(&values, "        --%s) words=; return;;\n", f.Name)
		case !f.IsBool():
			fmt.Fprintf(&values, "        --%s) files=file; return;;\n", f.Name)
		}
	}
	if len(dirs) > 0 {
		fmt.Fprintf(&values, "        %s) files=directory; return;;\n", strings.Join(dirs, "|"))
	}
	slices.Sort(flags)
	fmt.Fprintf(b, "    %s)\n      case $2 in\n%s      esac\n      flags=%q args=%q;;\n", c.Name, values.String(), strings.Join(flags, " "), words)
}

func enum(s string) string { return strings.Join(strings.Split(strings.Trim(s, ","), ","), " ") }

// bashText uses bash's own builtins alone: the package bash-completion need not
// be there. A word "--flag=value" reaches it as three, since = is in
// COMP_WORDBREAKS.
const bashText = `# Completion of pinfold for bash; written from its command line.
_pinfold_words() { # COMMAND PREVIOUS: sets words, flags, args, files
  words= flags= args= files=
  case $1 in
%[2]s    *) words="%[1]s --help --version";;
  esac
}
_pinfold() {
  local cur=${COMP_WORDS[COMP_CWORD]} prev=${COMP_WORDS[COMP_CWORD-1]} cmd= words flags args files
  if [ "$cur" = = ]; then cur=; elif [ "$prev" = = ]; then prev=${COMP_WORDS[COMP_CWORD-2]}; fi
  [ "$COMP_CWORD" -le 1 ] || cmd=${COMP_WORDS[1]}
  _pinfold_words "$cmd" "$prev"
  case $cur in -*) words="$words $flags --help";; esac
  [ "$COMP_CWORD" != 2 ] || words="$words $args"
  case $files in
    directory) mapfile -t COMPREPLY < <(compgen -d -- "$cur"); return;;
    file) mapfile -t COMPREPLY < <(compgen -f -- "$cur"); return;;
  esac
  mapfile -t COMPREPLY < <(compgen -W "$words" -- "$cur")
  if [ -n "$cmd" ] && [ -z "${words// /}" ]; then mapfile -t COMPREPLY < <(compgen -f -- "$cur"); fi
}
complete -o filenames -F _pinfold pinfold
`
