package examples

import (
	"bytes"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"pinfold/watchdog/link/sign"
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
	return compile(t, "vehicle", "c/vehicle.c", "c/receiver.c", "c/message.c", "c/sign.c", "c/mqtt.c")
}

const cHarness = `
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "receiver.h"
#include "sign.h"
int main(void) {
    static const char *const words[] = {"stop", "land", "go"};
    static char line[8192], ack[PF_ACK_MAX + PF_SIGNATURE_SIZE];
    static unsigned char key[PF_KEY_SIZE];
    static struct pf_receiver r;
    int has_key = 0, counts;
    while (fgets(line, sizeof line, stdin)) {
        char topic[16], retained[8], *payload;
        long long now;
        int at = 0;
        size_t n = 0, len;
        line[strcspn(line, "\n")] = 0;
        if (strncmp(line, "new", 3) == 0) {
            memset(&r, 0, sizeof r);
            has_key = line[3] != 0;
            if (has_key && !pf_read_key(key, line + 4, strlen(line + 4))) return 1;
            continue;
        }
        if (sscanf(line, "%15s %7s %lld%n", topic, retained, &now, &at) != 3) return 1;
        payload = line + at + 1;
        len = strlen(payload);
        counts = !has_key || pf_signed(key, strcmp(topic, "permit") == 0 ? "pinfold/wren/permit" :
            strcmp(topic, "command") == 0 ? "pinfold/wren/command" : "pinfold/all/command", payload, len);
        if (strcmp(topic, "permit") == 0 && counts) pf_permit(&r, payload, len, retained[0] == 't', now);
        else if (strcmp(topic, "command") == 0 && counts) n = pf_command(&r, payload, len, now, ack);
        else if (strcmp(topic, "command") == 0) pf_all_command(&r, "", 0);
        else if (strcmp(topic, "all") == 0) pf_all_command(&r, payload, counts ? len : 0);
        if (n && has_key) n = pf_sign(key, "pinfold/wren/ack", ack, n);
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
		path := compile(t, "harness", "-Ic", "-fno-sanitize-recover=all", check, source, "c/receiver.c", "c/message.c", "c/sign.c")
		compare(t, nil, exec.Command(path))
		compare(t, sign.NewKey(), exec.Command(path))
	}
}

const hmacHarness = `
#include <stdio.h>
#include <string.h>
#include "sign.h"
int main(void) {
    static unsigned char key[256], data[1024], out[32];
    unsigned k, n, cut, byte;
    while (scanf("%u %u %u", &k, &n, &cut) == 3) {
        for (unsigned i = 0; i < k; i++) { if (scanf("%2x", &byte) != 1) return 1; key[i] = byte; }
        for (unsigned i = 0; i < n; i++) { if (scanf("%2x", &byte) != 1) return 1; data[i] = byte; }
        pf_hmac(key, k, data, cut, data + cut, n - cut, out);
        for (int i = 0; i < 32; i++) printf("%02x", out[i]);
        printf("\n");
    }
    return 0;
}
`

// The C code's HMAC-SHA-256 against RFC 4231, test cases 1 and 2, and against Go's
// crypto/hmac at every length around a block's.
func TestCSignsByTheStandard(t *testing.T) {
	source := filepath.Join(t.TempDir(), "harness.c")
	if err := os.WriteFile(source, []byte(hmacHarness), 0o600); err != nil {
		t.Fatal(err)
	}
	type vector struct{ key, data []byte }
	all := []vector{{bytes.Repeat([]byte{0x0b}, 20), []byte("Hi There")}, {[]byte("Jefe"), []byte("what do ya want for nothing?")}}
	want := []string{"b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7", "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"}
	for n := range 200 {
		v := vector{bytes.Repeat([]byte{byte(n + 1)}, 1+n%64), bytes.Repeat([]byte{byte(3 * n)}, n)}
		all = append(all, v)
		m := hmac.New(sha256.New, v.key)
		m.Write(v.data)
		want = append(want, hex.EncodeToString(m.Sum(nil)))
	}
	var in strings.Builder
	for i, v := range all {
		fmt.Fprintf(&in, "%d %d %d\n%x\n%x\n", len(v.key), len(v.data), i%(len(v.data)+1), v.key, v.data)
	}
	cmd := exec.Command(compile(t, "hmac", "-Ic", "-fsanitize=address,undefined", "-fno-sanitize-recover=all", source, "c/sign.c"))
	cmd.Stdin = strings.NewReader(in.String())
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	got := strings.Fields(string(out))
	if len(got) != len(want) {
		t.Fatalf("%d answers, want %d", len(got), len(want))
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("vector %d: %s, want %s", i, got[i], want[i])
		}
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
