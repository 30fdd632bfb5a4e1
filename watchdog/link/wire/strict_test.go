package wire

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

const (
	goodPermit  = `{"guard":"g","session":"s","seq":1,"go":true,"stamp":1.5,"valid":0.25}`
	goodCommand = `{"id":"i","seq":1,"action":"stop","cause":"zone","zone":"cage","value":1,"limit":2,"stamp":1,"valid":0}`
	goodAck     = `{"id":"i","stamp":1,"action":"land"}`
	goodRequest = `{"ask":"start","by":"","nonce":"n"}`
	goodState   = `{"guard":"g","session":"s","seq":1,"vehicle":"v","level":"clear","go":true,"causes":[],"latched":[],` +
		`"clearance":null,"speed":0,"height":0,"tilt":0,"pose_age":0,"nonce":"","blocked":[],"trail":""}`
)

// change makes one message wrong by replacing a part of it.
type change struct {
	good, old, new string
	kind           Kind
	field          string
}

func TestStrictness(t *testing.T) {
	long := strings.Repeat("x", NameMax+1)
	for _, c := range []change{
		{goodPermit, `"go":true`, `"go":1`, WrongType, "/go"},
		{goodPermit, `"go":true`, `"go":"true"`, WrongType, "/go"},
		{goodPermit, `"go":true`, `"go":null`, Null, "/go"},
		{goodPermit, `"go":true,`, ``, Missing, "/go"},
		{goodPermit, `"go":true`, `"go":true,"go":true`, Duplicate, ""},
		{goodPermit, `"go":true`, `"go":false,"g\u006f":true`, Duplicate, ""},
		{goodPermit, `"go":true`, `"Go":true`, WrongCase, "/Go"},
		{goodPermit, `"go":true`, `"go":true,"GO":false`, WrongCase, "/GO"},
		{goodPermit, `0.25`, `1.0000001`, OutOfRange, "/valid"},
		{goodPermit, `0.25`, `-0.1`, OutOfRange, "/valid"},
		{goodPermit, `0.25`, `1e309`, OutOfRange, "/valid"},
		{goodPermit, `0.25`, `NaN`, NotJSON, ""},
		{goodPermit, `0.25`, `"0.25"`, WrongType, "/valid"},
		{goodPermit, `"seq":1`, `"seq":-1`, OutOfRange, "/seq"},
		{goodPermit, `"seq":1`, `"seq":1.0`, OutOfRange, "/seq"},
		{goodPermit, `"seq":1`, `"seq":1e2`, OutOfRange, "/seq"},
		{goodPermit, `"seq":1`, `"seq":9007199254740992`, OutOfRange, "/seq"},
		{goodPermit, `1.5`, `1e300`, OutOfRange, "/stamp"},
		{goodPermit, `"s"`, `""`, OutOfRange, "/session"},
		{goodPermit, `"s"`, `"` + long + `"`, TooLong, "/session"},
		{goodPermit, `"g"`, "\"\xff\"", NotJSON, ""},
		{goodPermit, `}`, `}{}`, NotJSON, ""},
		{goodPermit, `}`, `}x`, NotJSON, ""},
		{goodPermit, `}`, ``, NotJSON, ""},
		{goodPermit, `}`, `,}`, NotJSON, ""},
		{goodPermit, `}`, strings.Repeat(" ", PermitMax) + `}`, TooLarge, ""},
		{goodPermit, goodPermit, `[]`, WrongType, ""},
		{goodPermit, goodPermit, `null`, WrongType, ""},
		{goodPermit, goodPermit, ``, NotJSON, ""},
		{goodPermit, goodPermit, `["`, WrongType, ""},
		{goodPermit, `}`, manyMembers(MembersMax) + `}`, TooLong, ""},
		{goodCommand, `"stop"`, `"STOP"`, OutOfRange, "/action"},
		{goodCommand, `"stop"`, `"none"`, OutOfRange, "/action"},
		{goodCommand, `"i"`, `7`, WrongType, "/id"},
		{goodCommand, `"value":1`, `"value":"1"`, WrongType, "/value"},
		{goodCommand, `"value":1`, `"value":1e999`, OutOfRange, "/value"},
		{goodAck, `"land"`, `"go"`, OutOfRange, "/action"},
		{goodAck, `"i"`, `""`, OutOfRange, "/id"},
		{goodRequest, `"start"`, `"go"`, OutOfRange, "/ask"},
		{goodRequest, `"n"`, `null`, Null, "/nonce"},
		{goodRequest, `}`, `,"retrieve":null}`, Null, "/retrieve"},
		{goodRequest, `}`, `,"retrieve":1}`, WrongType, "/retrieve"},
		{goodRequest, `}`, `,"Retrieve":true}`, WrongCase, "/Retrieve"},
		{goodRequest, `}`, `,"retrieve":true,"retrieve":false}`, Duplicate, ""},
		{goodState, `"clear"`, `"fine"`, OutOfRange, "/level"},
		{goodState, `"speed":0`, `"speed":false`, WrongType, "/speed"},
		{goodState, `"causes":[]`, `"causes":{}`, WrongType, "/causes"},
		{goodState, `"causes":[]`, `"causes":[{}]`, Missing, "/causes/0/cause"},
		{goodState, `"causes":[]`, `"causes":[[]]`, WrongType, "/causes/0"},
		{goodState, `"blocked":[]`, `"blocked":["a",2]`, WrongType, "/blocked/1"},
		{goodState, `"blocked":[]`, `"blocked":["` + strings.Repeat(`","`, ListMax) + `"]`, TooLong, "/blocked"},
	} {
		refused(t, c)
	}
}

func manyMembers(n int) string {
	var b strings.Builder
	for i := range n {
		b.WriteString(`,"` + strings.Repeat("a", i+1)[:min(i+1, 10)] + string(rune('A'+i%26)) + string(rune('a'+i/26)) + `":0`)
	}
	return b.String()
}

// reads decodes text as the kind of message that good is.
func reads(good, text string) (any, error) {
	switch good {
	case goodPermit:
		m, err := DecodePermit([]byte(text))
		return m, err
	case goodCommand:
		m, err := DecodeCommand([]byte(text))
		return m, err
	case goodAck:
		m, err := DecodeAck([]byte(text))
		return m, err
	case goodRequest:
		m, err := DecodeRequest([]byte(text))
		return m, err
	}
	m, err := DecodeState([]byte(text))
	return m, err
}

func refused(t *testing.T, c change) {
	t.Helper()
	if _, err := reads(c.good, c.good); err != nil {
		t.Fatalf("the good message is refused: %v", err)
	}
	text := strings.Replace(c.good, c.old, c.new, 1)
	m, err := reads(c.good, text)
	var e *Error
	if !errors.As(err, &e) {
		t.Errorf("%.150s: no refusal, read %+v", text, m)
		return
	}
	if e.Kind != c.kind || e.Field != c.field {
		t.Errorf("%.150s: %v at %q (%v), want %v at %q", text, e.Kind, e.Field, e, c.kind, c.field)
	}
	if !zero(m) {
		t.Errorf("%.150s: refused, yet %+v came back", text, m)
	}
	if len(e.Error()) > 400 {
		t.Errorf("%.150s: an error of %d bytes", text, len(e.Error()))
	}
}

func zero(m any) bool {
	switch m := m.(type) {
	case Permit:
		return m == Permit{}
	case Command:
		return m == Command{}
	case Ack:
		return m == Ack{}
	case Request:
		return m == Request{}
	case State:
		return same(m, State{})
	}
	return false
}

// A retrieve that is absent is false, and nothing else may be absent with it.
func TestRetrieveMayBeAbsent(t *testing.T) {
	for text, want := range map[string]bool{goodRequest: false,
		strings.Replace(goodRequest, "}", `,"retrieve":false}`, 1): false,
		strings.Replace(goodRequest, "{", `{"retrieve":true,`, 1):  true} {
		if r, err := DecodeRequest([]byte(text)); err != nil || r.Retrieve != want {
			t.Errorf("%s: %+v, %v", text, r, err)
		}
	}
	for _, m := range []string{`"ask":"start",`, `"by":"",`} {
		refused(t, change{goodRequest, m, `"retrieve":true,`, Missing, "/" + strings.SplitN(m, `"`, 3)[1]})
	}
}

func TestUnknownMembersArePassedOver(t *testing.T) {
	for _, good := range []string{goodPermit, goodCommand, goodAck, goodRequest, goodState} {
		more := strings.Replace(good, "{", `{"later":{"x":[1,null,"\u00e9"]},`, 1)
		if _, err := reads(good, more); err != nil {
			t.Errorf("%s: %v", more, err)
		}
	}
}

// Every message cut short anywhere is refused.
func TestCutShort(t *testing.T) {
	for _, good := range []string{goodPermit, goodCommand, goodAck, goodRequest, goodState} {
		for n := range len(good) {
			if m, err := reads(good, good[:n]); err == nil {
				t.Errorf("%s was read as %+v", good[:n], m)
			}
		}
	}
}

func TestDecoderDoesNotAllocate(t *testing.T) {
	var d Decoder
	b := []byte(goodPermit)
	read := func() {
		if p, err := d.Permit(b); err != nil || !p.Go {
			t.Fatal(p, err)
		}
	}
	read()
	if n := testing.AllocsPerRun(200, read); n != 0 {
		t.Errorf("%v allocations a permit, want none", n)
	}
	buf := make([]byte, 0, PermitMax)
	p := Permit{Guard: "g", Session: "s", Seq: 1, Go: true, Valid: 0.25}
	if n := testing.AllocsPerRun(200, func() { buf = p.Append(buf[:0]) }); n != 0 {
		t.Errorf("%v allocations to write one, want none", n)
	}
}

// Whatever the encoder is given, what it writes can be read, and a permit that
// breaks a bound comes out as a withdrawal.
func TestWhateverIsWrittenCanBeRead(t *testing.T) {
	float := rapid.OneOf(rapid.Float64(), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), math.Copysign(0, -1), 1, 1.0000001}))
	name := rapid.StringN(1, 8, 30)
	rapid.Check(t, func(t *rapid.T) {
		p := Permit{Guard: name.Draw(t, "guard"), Session: name.Draw(t, "session"), Seq: rapid.Uint64Range(0, MaxSeq).Draw(t, "seq"),
			Go: rapid.Bool().Draw(t, "go"), Stamp: rapid.Int64().Draw(t, "stamp"), Valid: float.Draw(t, "valid")}
		got, err := DecodePermit(p.Append(nil))
		if err != nil {
			t.Fatal(err)
		}
		if ok := p.Valid >= 0 && p.Valid <= MaxValid && stampOK(p.Stamp); ok && got != p || !ok && (got.Go || got.Valid != 0) {
			t.Fatalf("%+v was read as %+v", p, got)
		}
		c := Command{ID: name.Draw(t, "id"), Action: Land, Cause: rapid.String().Draw(t, "cause"), Zone: rapid.String().Draw(t, "zone"),
			Value: float.Draw(t, "value"), Limit: float.Draw(t, "limit"), Stamp: rapid.Int64().Draw(t, "stamp"), Valid: float.Draw(t, "valid")}
		if back, err := DecodeCommand(c.Append(nil)); err != nil || back.ID != c.ID || back.Action != Land {
			t.Fatalf("%+v was read as %+v, %v", c, back, err)
		}
		s := State{Guard: "g", Session: "s", Vehicle: "v", Level: Stop, Speed: ptr(float.Draw(t, "speed")),
			Blocked: rapid.SliceOfN(rapid.String(), 0, 20).Draw(t, "blocked"),
			Causes:  make([]Cause, rapid.IntRange(0, 20).Draw(t, "causes"))}
		for i := range s.Causes {
			s.Causes[i] = Cause{Text: strings.Repeat("é\xff", rapid.IntRange(0, 200).Draw(t, "text")), Value: float.Draw(t, "v")}
		}
		if _, err := DecodeState(s.Append(nil)); err != nil {
			t.Fatal(err)
		}
	})
}
