package contract

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pinfold/watchdog/link/wire"
)

const golden = "../wire/testdata"

// messageOf is the schema of a golden message: the first word of its name.
func messageOf(path string) string {
	name, _, _ := strings.Cut(strings.TrimSuffix(filepath.Base(path), ".json"), "-")
	return name
}

func schema(t *testing.T, message string) (s struct {
	Properties map[string]json.RawMessage
	Required   []string
}) {
	t.Helper()
	b, err := os.ReadFile(message + ".schema.json")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, &s); err != nil {
		t.Fatal(err)
	}
	return s
}

// The schemas name just the members that the code writes, and require all but
// those that it leaves out where they are false.
func TestSchemasNameTheCodesMembers(t *testing.T) {
	for message, like := range map[string]any{"permit": wire.Permit{}, "command": wire.Command{}, "ack": wire.Ack{}, "request": wire.Request{}, "align": wire.Align{}, "probe": wire.Probe{}, "state": wire.State{}} {
		var want, required []string
		for i := range reflect.TypeOf(like).NumField() {
			name, rest, _ := strings.Cut(reflect.TypeOf(like).Field(i).Tag.Get("json"), ",")
			want = append(want, name)
			if rest != "omitempty" {
				required = append(required, name)
			}
		}
		if message != "state" && message != "probe" { // package sign adds it to the finished message
			want = append(want, "sig")
		}
		s := schema(t, message)
		var got []string
		for name := range s.Properties {
			got = append(got, name)
		}
		slices.Sort(want)
		slices.Sort(got)
		slices.Sort(required)
		slices.Sort(s.Required)
		if !slices.Equal(got, want) || !slices.Equal(s.Required, required) {
			t.Errorf("%s: schema has %v and requires %v, the code writes %v, always %v", message, got, s.Required, want, required)
		}
	}
}

// python finds an interpreter that has a module.
func python(t *testing.T, module, debian string) string {
	t.Helper()
	for _, name := range []string{"python3", "/usr/bin/python3"} {
		if exec.Command(name, "-c", "import "+module).Run() == nil {
			return name
		}
	}
	t.Skipf("no python3 with %s; install it (Debian: apt-get install %s) to run this test", module, debian)
	return ""
}

// checker validates lines "schema<TAB>message" and prints ok or not for each.
const checker = `
import json, sys, jsonschema
validators = {}
for line in sys.stdin:
    name, text = line.rstrip("\n").split("\t", 1)
    if name not in validators:
        schema = json.load(open(name + ".schema.json"))
        jsonschema.Draft7Validator.check_schema(schema)
        validators[name] = jsonschema.Draft7Validator(schema)
    print("ok" if validators[name].is_valid(json.loads(text)) else "not")
`

// TestGoldenMessagesAgainstSchemas asks an implementation that is not ours,
// python-jsonschema (draft 7), about every golden message of the code, and
// about messages that the code refuses.
func TestGoldenMessagesAgainstSchemas(t *testing.T) {
	interpreter := python(t, "jsonschema", "python3-jsonschema")
	paths, err := filepath.Glob(filepath.Join(golden, "*.json"))
	if err != nil || len(paths) < 10 {
		t.Fatalf("%d golden messages, %v", len(paths), err)
	}
	var in strings.Builder
	var want []string
	ask := func(message, text string, ok bool) {
		in.WriteString(message + "\t" + strings.TrimSpace(text) + "\n")
		want = append(want, map[bool]string{true: "ok", false: "not"}[ok])
	}
	signed, err := filepath.Glob("../sign/testdata/*-signed.json")
	if err != nil || len(signed) < 3 {
		t.Fatalf("%d signed messages, %v", len(signed), err)
	}
	for _, path := range append(paths, signed...) {
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		ask(messageOf(path), string(b), true)
	}
	ask("permit", strings.Replace(permitSigned(t), `"sig":"`, `"sig":"A`, 1), false)
	pose := `{"stamp":1.5,"seq":1,"position":{"x":1,"y":2,"z":3},"orientation":{"w":1,"x":0,"y":0,"z":0}}`
	ask("pose", pose, true)
	ask("pose", strings.Replace(pose, `"z":3`, `"z":null`, 1), false)
	for _, old := range []string{`"go":true`, `"valid":0.25`, `"seq":812`, `"session":"4f1d20a7"`} {
		b, err := os.ReadFile(filepath.Join(golden, "permit-go.json"))
		if err != nil {
			t.Fatal(err)
		}
		name, _, _ := strings.Cut(old, ":")
		for _, value := range []string{"null", "-1.5", `[]`} {
			text := strings.Replace(string(b), old, name+":"+value, 1)
			_, err := wire.DecodePermit([]byte(text))
			if err == nil {
				t.Errorf("the code reads %s", text)
			}
			ask("permit", text, false)
		}
	}
	cmd := exec.Command(interpreter, "-c", checker)
	cmd.Stdin = strings.NewReader(in.String())
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v: %s", err, err.(*exec.ExitError).Stderr)
	}
	if got := strings.Fields(string(out)); !slices.Equal(got, want) {
		t.Errorf("got  %v\nwant %v\nfor\n%s", got, want, in.String())
	}
}

func permitSigned(t *testing.T) string {
	t.Helper()
	b, err := os.ReadFile("../sign/testdata/permit-go-signed.json")
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// The document points to every schema, and to nothing that is not there.
func TestDocumentAndSchemasMatch(t *testing.T) {
	b, err := os.ReadFile("asyncapi.yaml")
	if err != nil {
		t.Fatal(err)
	}
	schemas, err := filepath.Glob("*.schema.json")
	if err != nil || len(schemas) != 8 {
		t.Fatalf("%v, %v; want eight schemas", schemas, err)
	}
	for _, s := range schemas {
		if n := strings.Count(string(b), "$ref: './"+s+"'"); n != 1 {
			t.Errorf("asyncapi.yaml points to %s %d times, want once", s, n)
		}
	}
	topics, err := wire.Topics(wire.DefaultPrefix, "{vehicle}")
	if err != nil {
		t.Fatal(err)
	}
	for _, topic := range []string{topics.Pose, topics.Permit, topics.Command, topics.Ack, topics.State, topics.Request, topics.Align, topics.AllCommand,
		wire.ProbeTopic(wire.DefaultPrefix, "{session}", "{vehicle}")} {
		if !strings.Contains(string(b), "address: '"+topic+"'") {
			t.Errorf("asyncapi.yaml has no channel %s", topic)
		}
	}
}
