package wire

// Align brings a new alignment to a running watchdog: the very file that
// pinfold align writes. Like a request it needs the nonce of the current state,
// which is good once.
type Align struct {
	By    string `json:"by"`    // who sends it, for the trail; may be empty
	Nonce string `json:"nonce"` // from the current state
	File  string `json:"file"`  // the file's text, byte for byte, at most AlignFileMax bytes
}

// Bounds of an Align.
const (
	AlignMax     = 64 << 10 // bytes of the message; the link sends no longer one
	AlignFileMax = 32 << 10 // bytes of the file in it, decoded; one of a pad has about 700
)

// alignFields are the members of an Align.
var alignFields = []string{"by", "nonce", "file"}

// Append appends the message as JSON.
func (a *Align) Append(b []byte) []byte {
	b = text(append(b, `{"by":`...), cut(a.By, NameMax))
	b = text(append(b, `,"nonce":`...), plain(a.Nonce))
	b = text(append(b, `,"file":`...), a.File)
	return append(b, '}')
}

// DecodeAlign reads an align; it is zero when the error is not nil.
func DecodeAlign(b []byte) (Align, error) {
	var o object
	a, err := o.align(b)
	if err != nil {
		return Align{}, err
	}
	return a, nil
}

func (o *object) align(b []byte) (a Align, err error) {
	if err = o.begin("align", "", b, AlignMax, alignFields); err != nil {
		return a, err
	}
	for {
		i, v, err := o.next()
		if i < 0 || err != nil {
			return a, err
		}
		switch field := alignFields[i]; field {
		case "by":
			a.By, err = o.plainText(field, v, NameMax)
		case "nonce":
			a.Nonce, err = o.plainText(field, v, NameMax)
		case "file":
			a.File, err = o.text(field, v, AlignFileMax, "")
		}
		if err != nil {
			return a, err
		}
	}
}
