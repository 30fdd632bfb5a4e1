package examples

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// compile builds C sources and gives the program's path.
func compile(t *testing.T, name string, args ...string) string {
	t.Helper()
	if _, err := exec.LookPath("gcc"); err != nil {
		t.Skip("no gcc; install it (Debian: apt-get install gcc libc6-dev) to run this test")
	}
	path := filepath.Join(t.TempDir(), name)
	args = append([]string{"-std=c99", "-O2", "-Wall", "-Wextra", "-Wpedantic", "-Werror", "-o", path}, args...)
	if out, err := exec.Command("gcc", args...).CombinedOutput(); err != nil {
		t.Fatalf("gcc %v: %v\n%s", args, err, out)
	}
	return path
}

func compileVehicle(t *testing.T) string {
	t.Helper()
	return compile(t, "vehicle", "c/vehicle.c", "c/receiver.c", "c/message.c", "c/mqtt.c")
}

const cHarness = `
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "receiver.h"
int main(void) {
    static const char *const words[] = {"stop", "land", "go"};
    static char line[8192], ack[PF_ACK_MAX];
    static struct pf_receiver r;
    while (fgets(line, sizeof line, stdin)) {
        char topic[16], retained[8], *payload;
        long long now;
        int at = 0;
        size_t n = 0, len;
        line[strcspn(line, "\n")] = 0;
        if (strcmp(line, "new") == 0) {
            memset(&r, 0, sizeof r);
            continue;
        }
        if (sscanf(line, "%15s %7s %lld%n", topic, retained, &now, &at) != 3) return 1;
        payload = line + at + 1;
        len = strlen(payload);
        if (strcmp(topic, "permit") == 0) pf_permit(&r, payload, len, retained[0] == 't', now);
        else if (strcmp(topic, "command") == 0) n = pf_command(&r, payload, len, now, ack);
        else if (strcmp(topic, "all") == 0) pf_all_command(&r, payload, len);
        printf("%s %.*s\n", words[pf_may_move(&r, now)], (int)n, ack);
    }
    return 0;
}
`

func TestCVehicleSaysWhatTheReceiverSays(t *testing.T) {
	source := filepath.Join(t.TempDir(), "harness.c")
	if err := os.WriteFile(source, []byte(cHarness), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, check := range []string{"-fsanitize=address,undefined", "-fno-builtin"} {
		path := compile(t, "harness", "-Ic", "-fno-sanitize-recover=all", check, source, "c/receiver.c", "c/message.c")
		compare(t, exec.Command(path))
	}
}

// The C that goes on a board asks for no heap: nothing in it refers to one.
func TestCVehicleUsesNoHeap(t *testing.T) {
	path := compileVehicle(t)
	out, err := exec.Command("nm", "-D", "--undefined-only", path).Output()
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(out), "memcpy") && !strings.Contains(string(out), "strcmp") {
		t.Fatalf("nm shows no known symbol, so it proves nothing:\n%s", out)
	}
	for _, heap := range []string{"malloc", "calloc", "realloc", "free", "strdup", "getaddrinfo", "printf", "fopen"} {
		if strings.Contains(string(out), heap) {
			t.Errorf("it calls %s:\n%s", heap, out)
		}
	}
}
