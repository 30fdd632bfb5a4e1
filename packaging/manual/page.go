package manual

import (
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/alecthomas/kong"

	"pinfold/watchdog/cli"
)

// page collects the manual page, in the man(7) macros.
type page struct{ strings.Builder }

// Page writes pinfold(1).
func Page(w io.Writer, app *kong.Application, version string, day time.Time) error {
	p := &page{}
	fmt.Fprintf(p, ".TH PINFOLD 1 %s \"pinfold %s\"\n", day.UTC().Format("2006-01-02"), esc(version))
	p.section("NAME")
	p.text("pinfold - keeps a small vehicle in its pen")
	p.section("SYNOPSIS")
	for i, c := range app.Leaves(true) {
		if i > 0 {
			p.WriteString(".br\n")
		}
		fmt.Fprintf(p, ".B pinfold %s\n%s\n", esc(c.Name), esc(usage(c)))
	}
	p.section("DESCRIPTION")
	p.text(description)
	p.WriteString(".PP\n")
	p.text(strings.ReplaceAll(cli.Safety, "\n", " "))
	p.section("COMMANDS")
	for _, c := range app.Leaves(true) {
		p.command(c)
	}
	p.section("EXIT STATUS")
	for _, s := range cli.Statuses() {
		p.item(fmt.Sprint(s.Code), s.Text)
	}
	for _, part := range parts {
		p.section(part.title)
		for _, i := range part.items {
			p.item(i[0], i[1])
		}
	}
	_, err := io.WriteString(w, p.String())
	return err
}

// usage is a command's arguments and whether it takes flags.
func usage(c *kong.Node) string {
	var words []string
	for _, a := range c.Positional {
		words = append(words, strings.TrimPrefix(a.Summary(), "--"))
	}
	for _, f := range c.Flags {
		if f.Required {
			words = append(words, "--"+f.Name+"="+f.FormatPlaceHolder())
		}
	}
	return strings.Join(append(words, "[flags]"), " ")
}

func (p *page) section(title string) { fmt.Fprintf(p, ".SH %s\n", title) }

func (p *page) text(s string) { p.WriteString(esc(s) + "\n") }

// item is a word and what there is to say of it.
func (p *page) item(word, s string) { fmt.Fprintf(p, ".TP\n.B %s\n%s\n", esc(word), esc(s)) }

func (p *page) command(c *kong.Node) {
	fmt.Fprintf(p, ".SS %s\n%s\n", esc(c.Name), esc(c.Help))
	for _, a := range c.Positional {
		p.item(a.Summary(), orNone(a.Help))
	}
	for _, f := range c.Flags {
		word := "--" + f.Name
		if !f.IsBool() {
			word += "=" + f.FormatPlaceHolder()
		}
		if f.Short != 0 {
			word = "-" + string(f.Short) + ", " + word
		}
		help := orNone(f.Help)
		if f.Required {
			help += " Must be given."
		}
		if f.Enum != "" {
			help += " One of " + strings.ReplaceAll(strings.Trim(f.Enum, ","), ",", ", ") + "."
		}
		p.item(word, help)
	}
}

func orNone(help string) string {
	if help == "" {
		return "See the description above."
	}
	return help
}

// esc keeps roff from taking a text for its own.
func esc(s string) string {
	s = strings.NewReplacer("\\", `\e`, "-", `\-`, "'", `\(aq`).Replace(s)
	lines := strings.Split(s, "\n")
	for i, l := range lines {
		if strings.HasPrefix(l, ".") {
			lines[i] = `\&` + l
		}
	}
	return strings.Join(lines, "\n")
}
