package relay

import (
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"
	"unsafe"

	"golang.org/x/sys/unix"

	"pinfold/watchdog/link/receiver"
)

// GPIO drives one line of a GPIO chip through Linux's character device: active
// while there is a permit. When the process ends, however it does, the kernel
// closes the file and lets go of the line; what the line is then is the board's
// business, so a resistor must pull it to the side that halts.
type GPIO struct {
	line  line
	pulse bool
	on    bool
}

// line is a line that was asked for.
type line interface {
	set(active bool) error
	Close() error
}

// NewGPIO takes line "CHIP:LINE", such as /dev/gpiochip0:17, as an output that is
// inactive. With pulse it is not held active but toggled at every turn.
func NewGPIO(where string, activeLow, pulse bool) (*GPIO, error) {
	i := strings.LastIndexByte(where, ':')
	n, err := strconv.ParseUint(where[i+1:], 10, 32)
	if i < 1 || err != nil {
		return nil, fmt.Errorf("relay: %q is no GPIO line; write its chip and number, like /dev/gpiochip0:17 (gpioinfo lists them)", where)
	}
	l, err := openLine(where[:i], uint32(n), activeLow)
	if err != nil {
		return nil, fmt.Errorf("relay: GPIO line %s: %w", where, err)
	}
	return &GPIO{line: l, pulse: pulse}, nil
}

// Set makes the line active or not, at every call: whatever else changed it, it
// is right again a turn later.
func (g *GPIO) Set(v receiver.Verdict) error {
	g.on = v.Go && !(g.pulse && g.on)
	return g.line.set(g.on)
}

// Close makes the line inactive and lets go of it.
func (g *GPIO) Close() error {
	return errors.Join(g.line.set(false), g.line.Close())
}

// What follows is the second version of Linux's GPIO character device, as
// linux/gpio.h has it (since Linux 5.10); TestGPIOLayout holds it to that header.
const (
	gpioLinesMax = 64 // GPIO_V2_LINES_MAX
	gpioAttrsMax = 10 // GPIO_V2_LINE_NUM_ATTRS_MAX
	gpioNameMax  = 32 // GPIO_MAX_NAME_SIZE

	gpioActiveLow = 1 << 1 // GPIO_V2_LINE_FLAG_ACTIVE_LOW
	gpioOutput    = 1 << 3 // GPIO_V2_LINE_FLAG_OUTPUT

	gpioGetLine   = 0xC250B407 // GPIO_V2_GET_LINE_IOCTL
	gpioSetValues = 0xC010B40F // GPIO_V2_LINE_SET_VALUES_IOCTL
)

// gpioAttr is struct gpio_v2_line_config_attribute.
type gpioAttr struct {
	id, pad     uint32
	value, mask uint64
}

// gpioConfig is struct gpio_v2_line_config. Without an attribute an output begins
// inactive.
type gpioConfig struct {
	flags    uint64
	numAttrs uint32
	pad      [5]uint32
	attrs    [gpioAttrsMax]gpioAttr
}

// gpioRequest is struct gpio_v2_line_request.
type gpioRequest struct {
	offsets  [gpioLinesMax]uint32
	consumer [gpioNameMax]byte
	config   gpioConfig
	numLines uint32
	buffer   uint32
	pad      [5]uint32
	fd       int32
}

// gpioValues is struct gpio_v2_line_values.
type gpioValues struct{ bits, mask uint64 }

// charLine is a line held by its file.
type charLine struct{ file *os.File }

func openLine(chip string, offset uint32, activeLow bool) (line, error) {
	f, err := os.OpenFile(chip, os.O_RDWR|unix.O_CLOEXEC, 0)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	r := gpioRequest{numLines: 1, config: gpioConfig{flags: gpioOutput}}
	r.offsets[0] = offset
	copy(r.consumer[:], "pinfold relay")
	if activeLow {
		r.config.flags |= gpioActiveLow
	}
	if err := ioctl(f.Fd(), gpioGetLine, unsafe.Pointer(&r)); err != nil {
		return nil, err
	}
	return &charLine{os.NewFile(uintptr(r.fd), chip)}, nil
}

func (l *charLine) set(active bool) error {
	v := gpioValues{mask: 1}
	if active {
		v.bits = 1
	}
	return ioctl(l.file.Fd(), gpioSetValues, unsafe.Pointer(&v))
}

func (l *charLine) Close() error { return l.file.Close() }

func ioctl(fd uintptr, request uintptr, p unsafe.Pointer) error {
	if _, _, errno := unix.Syscall(unix.SYS_IOCTL, fd, request, uintptr(p)); errno != 0 {
		return errno
	}
	return nil
}
