package config

import (
	"encoding/binary"
	"errors"
	"strings"
	"testing"
	"unicode/utf16"
)

func TestUTF16IsNamed(t *testing.T) {
	text := "[site]\r\nname = \"Halle\"\r\n"
	for name, mark := range map[string]string{"with a byte order mark": "\ufeff", "without one": ""} {
		for _, order := range []binary.AppendByteOrder{binary.LittleEndian, binary.BigEndian} {
			var data []byte
			for _, u := range utf16.Encode([]rune(mark + text)) {
				data = order.AppendUint16(data, u)
			}
			_, err := quickly(string(data))
			var ps Problems
			if !errors.As(err, &ps) || len(ps) != 1 || !strings.Contains(ps[0].What, "UTF-16") || !strings.Contains(ps[0].Next, "UTF-8") {
				t.Errorf("%v %s: %v", order, name, err)
			}
		}
	}
	for _, text := range []string{"", "[]", "a\x00", "\ufeff[site]\n"} {
		if wide([]byte(text)) {
			t.Errorf("%q is taken for UTF-16", text)
		}
	}
}
