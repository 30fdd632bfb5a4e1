package trail

import (
	"encoding/binary"
	"fmt"
	"time"

	"github.com/klauspost/compress/zstd"
)

// Names in a session's folder.
const (
	eventsName = "events.jsonl"
	intakeName = "intake.pfi"
	tornName   = "events.torn"
	filesName  = "files"
)

// formatVersion is written into the first line and into the intake's header.
const formatVersion = 1

// The intake begins with eight letters, the version (uint32) and four zero
// bytes; every frame has its length (uint32) in front. All are little-endian.
const (
	intakeMagic  = "PFINTAKE"
	intakeHeader = 16
	framePrefix  = 4
	itemHeader   = 24
)

func appendIntakeHeader(b []byte) []byte {
	b = append(b, intakeMagic...)
	b = binary.LittleEndian.AppendUint32(b, formatVersion)
	return append(b, 0, 0, 0, 0)
}

// appendItem appends an item: vehicle uint16, kind uint8, flags uint8, bytes of
// payload uint32, at int64, arrived int64, payload.
func appendItem(b []byte, it *Item) []byte {
	b = binary.LittleEndian.AppendUint16(b, it.Vehicle)
	b = append(b, it.Kind, it.Flags)
	b = binary.LittleEndian.AppendUint32(b, uint32(len(it.Payload)))
	b = binary.LittleEndian.AppendUint64(b, uint64(it.At))
	b = binary.LittleEndian.AppendUint64(b, uint64(it.Arrived))
	return append(b, it.Payload...)
}

// eachItem reads the items of a decompressed frame. The item and its payload
// are valid during the call only.
func eachItem(raw []byte, each func(*Item) error) (n int, err error) {
	var it Item
	for off := 0; off < len(raw); n++ {
		if len(raw)-off < itemHeader {
			return n, fmt.Errorf("item %d has %d bytes of its %d-byte header", n, len(raw)-off, itemHeader)
		}
		h := raw[off:]
		size := int(binary.LittleEndian.Uint32(h[4:]))
		if size > MaxPayload || size > len(h)-itemHeader {
			return n, fmt.Errorf("item %d says %d bytes of payload, %d are left", n, size, len(h)-itemHeader)
		}
		it = Item{Vehicle: binary.LittleEndian.Uint16(h), Kind: h[2], Flags: h[3],
			At:      time.Duration(binary.LittleEndian.Uint64(h[8:])),
			Arrived: time.Duration(binary.LittleEndian.Uint64(h[16:])),
			Payload: h[itemHeader : itemHeader+size : itemHeader+size]}
		if err := each(&it); err != nil {
			return n, err
		}
		off += itemHeader + size
	}
	return n, nil
}

// squeezer compresses frames, each independent of the others.
type squeezer struct{ enc *zstd.Encoder }

func newSqueezer() (*squeezer, error) {
	enc, err := zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1), zstd.WithLowerEncoderMem(true),
		zstd.WithEncoderLevel(zstd.SpeedDefault), zstd.WithWindowSize(512<<10))
	if err != nil {
		return nil, fmt.Errorf("zstd: %w", err)
	}
	return &squeezer{enc: enc}, nil
}

// appendFrame appends length prefix and frame, and says where the frame begins.
func (s *squeezer) appendFrame(b, raw []byte) (out []byte, begin int) {
	begin = len(b) + framePrefix
	b = append(b, 0, 0, 0, 0)
	b = s.enc.EncodeAll(raw, b)
	binary.LittleEndian.PutUint32(b[begin-framePrefix:], uint32(len(b)-begin))
	return b, begin
}

// expander decompresses frames, none to more than MaxFrame bytes.
type expander struct {
	dec *zstd.Decoder
	buf []byte
}

func newExpander() (*expander, error) {
	dec, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderLowmem(true),
		zstd.WithDecoderMaxMemory(MaxFrame), zstd.WithDecoderMaxWindow(MaxFrame))
	if err != nil {
		return nil, fmt.Errorf("zstd: %w", err)
	}
	return &expander{dec: dec}, nil
}

// expand gives the frame's items as bytes, valid until the next call.
func (e *expander) expand(frame []byte) ([]byte, error) {
	raw, err := e.dec.DecodeAll(frame, e.buf[:0])
	if err != nil {
		return nil, fmt.Errorf("zstd: %w", err)
	}
	e.buf = raw
	return raw, nil
}

func (e *expander) close() { e.dec.Close() }
