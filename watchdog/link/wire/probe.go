package wire

// Probe is what a guard sends to itself through the broker, to measure how long
// that takes. Anybody may read it; the guard takes back only the one it waits
// for.
type Probe struct {
	Guard   string `json:"guard"`   // name of the watchdog that measures
	Session string `json:"session"` // id of its session
	Number  string `json:"number"`  // drawn anew for each probe
}

// ProbeMax is the bound of a probe's bytes.
const ProbeMax = 512

var probeFields = []string{"guard", "session", "number"}

// Append appends the probe as JSON.
func (p *Probe) Append(b []byte) []byte {
	b = text(append(b, `{"guard":`...), plain(p.Guard))
	b = text(append(b, `,"session":`...), plain(p.Session))
	b = text(append(b, `,"number":`...), plain(p.Number))
	return append(b, '}')
}

// DecodeProbe reads a probe; it is zero when the error is not nil.
func DecodeProbe(b []byte) (Probe, error) {
	var o object
	p, err := o.probe(b)
	if err != nil {
		return Probe{}, err
	}
	return p, nil
}

func (o *object) probe(b []byte) (p Probe, err error) {
	if err = o.begin("probe", "", b, ProbeMax, probeFields); err != nil {
		return p, err
	}
	for {
		i, v, err := o.next()
		if i < 0 || err != nil {
			return p, err
		}
		switch field := probeFields[i]; field {
		case "guard":
			p.Guard, err = o.plainID(field, v)
		case "session":
			p.Session, err = o.plainID(field, v)
		case "number":
			p.Number, err = o.plainID(field, v)
		}
		if err != nil {
			return p, err
		}
	}
}
