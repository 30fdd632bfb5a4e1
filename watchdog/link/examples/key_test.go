package examples

import (
	"encoding/hex"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"pinfold/watchdog/link/sign"
)

const keyHarness = `
#include <stdio.h>
#include "sign.h"
int main(int argc, char **argv) {
    static char text[4096];
    unsigned char key[PF_KEY_SIZE];
    FILE *f = argc == 2 ? fopen(argv[1], "r") : 0;
    if (!f || !pf_read_key(key, text, fread(text, 1, sizeof text, f))) return 1;
    for (int i = 0; i < PF_KEY_SIZE; i++) printf("%02x", key[i]);
    return 0;
}
`

// What is a key's file to the guard is one to the vehicles in Python and C, and
// nothing else is.
func TestVehiclesReadTheSameKeys(t *testing.T) {
	dir := t.TempDir()
	source := filepath.Join(dir, "harness.c")
	if err := os.WriteFile(source, []byte(keyHarness), 0o600); err != nil {
		t.Fatal(err)
	}
	inC := compile(t, "key", "-Ic", "-fsanitize=address,undefined", "-fno-sanitize-recover=all", source, "c/sign.c")
	py := python(t, "json", "python3")
	k := sign.NewKey()
	text := hex.EncodeToString(k[:])
	keys := 0
	for _, content := range []string{text, text + "\n", text + "\r\n", text + "\n\n", strings.ToUpper(text), "", "\n", text[1:], text + "0", text + "00", " " + text, text + " \n", "\ufeff" + text,
		text[:32] + " " + text[32:], text + "\nx", strings.Repeat("0", 64), strings.Repeat("g", 64), "0x" + text[2:], strings.Repeat(text, 20)} {
		path := filepath.Join(dir, "key")
		if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
		want := ""
		if got, err := sign.ReadKey(path); err == nil {
			want = hex.EncodeToString(got[:])
			keys++
		}
		for name, cmd := range map[string]*exec.Cmd{"C": exec.Command(inC, path),
			"Python": exec.Command(py, "-B", "-c", "import sys, vehicle; print(vehicle.read_key(sys.argv[1]).hex(), end='')", path)} {
			if out, err := cmd.Output(); string(out) != want || (err == nil) != (want != "") {
				t.Errorf("%s reads %q as %q (%v), want %q", name, content, out, err, want)
			}
		}
	}
	if keys != 5 {
		t.Errorf("%d of these are keys, want 5", keys)
	}
}
