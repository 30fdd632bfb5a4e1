package relay

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unsafe"

	"pinfold/watchdog/link/receiver"
)

// layout is a C program that prints what linux/gpio.h says.
const layout = `#include <linux/gpio.h>
#include <stddef.h>
#include <stdio.h>
int main(void) {
	struct gpio_v2_line_request r;
	struct gpio_v2_line_config_attribute a;
	printf("%u %u %lu %lu ", (unsigned)GPIO_V2_GET_LINE_IOCTL, (unsigned)GPIO_V2_LINE_SET_VALUES_IOCTL,
		(unsigned long)GPIO_V2_LINE_FLAG_ACTIVE_LOW, (unsigned long)GPIO_V2_LINE_FLAG_OUTPUT);
	printf("%zu %zu %zu %zu %zu ", sizeof r, sizeof r.config, sizeof a, offsetof(struct gpio_v2_line_config_attribute, mask), sizeof(struct gpio_v2_line_values));
	printf("%zu %zu %zu %zu %zu\n", offsetof(struct gpio_v2_line_request, consumer), offsetof(struct gpio_v2_line_request, config),
		offsetof(struct gpio_v2_line_request, num_lines), offsetof(struct gpio_v2_line_request, fd), offsetof(struct gpio_v2_line_config, attrs));
	return 0;
}
`

// TestGPIOLayout: numbers, sizes and offsets are those of the kernel's own header,
// as the C compiler has them.
func TestGPIOLayout(t *testing.T) {
	dir := t.TempDir()
	src, bin := filepath.Join(dir, "layout.c"), filepath.Join(dir, "layout")
	if err := os.WriteFile(src, []byte(layout), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("cc", "-o", bin, src).CombinedOutput(); err != nil {
		t.Skipf("no C compiler with linux/gpio.h (Debian: apt-get install gcc linux-libc-dev): %v: %s", err, out)
	}
	out, err := exec.Command(bin).Output()
	if err != nil {
		t.Fatal(err)
	}
	var r gpioRequest
	var a gpioAttr
	want := fmt.Sprintln(uint32(gpioGetLine), uint32(gpioSetValues), gpioActiveLow, gpioOutput,
		unsafe.Sizeof(r), unsafe.Sizeof(r.config), unsafe.Sizeof(a), unsafe.Offsetof(a.mask), unsafe.Sizeof(gpioValues{}),
		unsafe.Offsetof(r.consumer), unsafe.Offsetof(r.config), unsafe.Offsetof(r.numLines), unsafe.Offsetof(r.fd), unsafe.Offsetof(r.config.attrs))
	if string(out) != want {
		t.Errorf("linux/gpio.h has\n%s, the code\n%s", out, want)
	}
}

// fakeLine stands in for a line: there is no GPIO simulator where this runs.
type fakeLine struct {
	log  []string
	fail error
}

func (f *fakeLine) set(active bool) error {
	f.log = append(f.log, map[bool]string{true: "1", false: "0"}[active])
	return f.fail
}

func (f *fakeLine) Close() error { f.log = append(f.log, "free"); return nil }

func TestGPIOIsActiveOnlyWithAPermit(t *testing.T) {
	for _, row := range []struct {
		pulse bool
		want  string
	}{{false, "0 1 1 1 0 0 free"}, {true, "0 1 0 1 0 0 free"}} {
		f := &fakeLine{}
		g := &GPIO{line: f, pulse: row.pulse}
		for _, goes := range []bool{false, true, true, true, false} {
			if err := g.Set(receiver.Verdict{Go: goes}); err != nil {
				t.Fatal(err)
			}
		}
		if err := g.Close(); err != nil {
			t.Fatal(err)
		}
		if got := strings.Join(f.log, " "); got != row.want {
			t.Errorf("pulse %v: %s, want %s", row.pulse, got, row.want)
		}
	}
}

func TestGPIOErrorsAreTold(t *testing.T) {
	gone := errors.New("gone")
	g := &GPIO{line: &fakeLine{fail: gone}}
	if err := g.Set(receiver.Verdict{Go: true}); !errors.Is(err, gone) {
		t.Errorf("%v", err)
	}
	if err := g.Close(); !errors.Is(err, gone) || !slices.Contains(g.line.(*fakeLine).log, "free") {
		t.Errorf("%v", err)
	}
	for where, want := range map[string]string{"17": "is no GPIO line", ":17": "is no GPIO line", "/dev/gpiochip0:x": "is no GPIO line",
		"/dev/gpiochip0:-1": "is no GPIO line", "/nowhere:1": "no such file", "/dev/null:1": "inappropriate ioctl"} {
		if _, err := NewGPIO(where, false, false); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", where, err)
		}
	}
}
