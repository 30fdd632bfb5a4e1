package trail

import (
	"encoding/json"
	"time"
)

// Options of a session. Dir and Session are required.
type Options struct {
	Dir     string    // the trail's folder; one folder per session in it
	Session string    // id of this session, unique
	Guard   string    // id of the guard that writes
	Site    string    // name of the site
	Version string    // of the program
	Started time.Time // wall clock, an annotation; zero is now

	Vehicles []string // names; the index is Item.Vehicle
	Topics   []string // pose topics or similar annotations, by the same index; optional
	Files    []File   // the site file and zone files as loaded; copied, and their hashes chained

	// KeyFile holds the Ed25519 key that seals, as PKCS #8 PEM; it is created
	// with mode 0600 if absent. Empty: a key for this session only, which proves
	// that the session was closed, and not by whom.
	KeyFile string

	MaxBytes    int64 // bound of all sessions together; 0 is DefaultBytes
	RemoveStops bool  // sessions that hold a stop may be removed like any other

	// IsStop says whether a record makes its session one that holds a stop. Nil:
	// every record of kind "command" does.
	IsStop func(kind string, body []byte) bool

	// OnStatus is told when the health changes (Status.OK, Err, Warn), from the
	// writer's goroutine. It must not block and must not call Close.
	OnStatus func(Status)

	Now  func() time.Duration // the session's clock; nil is time since Create
	Wall func() time.Time     // the wall clock, for annotations; nil is time.Now
	FS   FS                   // the file calls; nil is the operating system's

	StallAfter    time.Duration // 0 is the constant StallAfter
	DurableWithin time.Duration // 0 is the constant DurableWithin
}

// File is a file copied into the session's folder.
type File struct {
	Name string // letters, digits, '.', '_', '-'; unique
	Data []byte
}

// Item is one thing the guard was given, as it arrived. Replay of the items in
// order gives the same decisions. What Kind and Flags mean is the caller's.
type Item struct {
	Vehicle uint16        // index into Options.Vehicles
	Kind    uint8         // kept as it is
	Flags   uint8         // kept as it is
	At      time.Duration // instant on the session's clock at which the guard took it
	Arrived time.Duration // instant on the session's clock at which it arrived
	Payload []byte
}

// Status is the health of the trail. The zero Status is not healthy.
type Status struct {
	OK   bool   // everything given is durable or will be within the stated times
	Err  string // why not
	Warn string // what will become an error unless somebody acts; empty is nothing

	Lost  uint64 // items and events given that are not in the trail and never will be
	Lines uint64 // durable lines
	Items uint64 // items in durable frames
	Head  string // hex SHA-256 of the newest durable line

	Bytes int64 // of all sessions together, this one included
	Bound int64 // of Bytes
	Free  int64 // on the disk, for a program without special rights; -1 unknown

	Steps   uint64        // how often the wall clock was stepped, by more than 128 ms
	Stepped time.Duration // by how much the last time; the session's clock is not touched

	Folder string // of this session
	Public string // hex public key that will seal it
}

// Sealed says how a session ended.
type Sealed struct {
	Folder    string
	Head      string // hex SHA-256 of the seal line, the last of the chain
	Signature string // hex Ed25519
	Public    string // hex public key
	Lines     uint64 // the seal included
	Items     uint64
	Lost      uint64
}

// Session is one session in a trail's folder, as List sees it.
type Session struct {
	ID, Folder  string // Folder is its path
	Guard, Site string
	Started     time.Time
	Duration    time.Duration // to the last line
	Sealed      bool          // a seal stands at the end; Verify says whether it holds
	Stops       int           // records that are stops; of an unsealed session, its commands
	Bytes       int64
	Lines       uint64
	Items       uint64
	Lost        uint64
	Head        string // hex SHA-256 of the last line
	Err         string // what could not be read; such a session is never removed by itself
}

// Line is one line of events.jsonl.
type Line struct {
	Seq     uint64
	Prev    string // hex SHA-256 of the line before, 64 zeros for the first
	At      time.Duration
	Vehicle string
	Kind    string
	Body    json.RawMessage
	Hash    string // hex SHA-256 of this line
}

// Problem is one thing that is wrong with a session.
type Problem struct {
	File   string        // name in the session's folder
	Line   uint64        // of events.jsonl, from 1; 0 not about a line
	Frame  int           // of the intake, from 0; -1 not about a frame
	Offset int64         // byte in File where it begins
	What   string        // and what to do about it
	Since  time.Duration // session's clock at the last place that is whole; what follows it is in doubt
	Wall   time.Time     // the same by the wall clock; zero unknown
}

// Report says what Verify found.
type Report struct {
	Folder   string
	Session  string
	Problems []Problem // at most MaxFaults
	Count    int       // of all problems
	Notes    []string  // what a reader must know, and is no fault: not sealed, gaps, torn bytes

	Signed []SignedLine // records that were signed at once, at most MaxFaults

	Sealed  bool   // a seal stands at the end and its signature holds
	Torn    bool   // the last line is half there, which is one of the problems: a write was cut off, or the end was
	Writing bool   // not sealed, and a process on this machine writes to it now
	Public  string // hex public key of the first record
	Next    string // the session whose first line names this one's end as it is; empty: none
	Head    string // hex SHA-256 of the last whole line
	HeadAt  uint64 // line of the expected head, 0 none was given or it is nowhere

	Lines  uint64
	Frames int
	Items  uint64
	Lost   uint64 // said lost by the gaps
	Files  int
}

// OK says that no problem was found. It is true of an unsealed session whose
// every line is whole: see Sealed and Notes.
func (r *Report) OK() bool { return r != nil && r.Lines > 0 && r.Count == 0 }

// Vouched says that no problem was found, and that something other than the
// session's own chain vouches for its end: its seal, a head that was published,
// or the next session.
func (r *Report) Vouched() bool { return r.OK() && (r.Sealed || r.HeadAt > 0 || r.Next != "") }

// Meta is the first record of a session.
type Meta struct {
	Format   int       `json:"format"`
	Session  string    `json:"session"`
	Guard    string    `json:"guard"`
	Site     string    `json:"site"`
	Version  string    `json:"version"`
	Started  time.Time `json:"started"`            // wall clock
	Behind   float64   `json:"behind_s,omitempty"` // s that the wall clock stood behind the newest folder
	Public   string    `json:"public"`             // hex Ed25519 public key
	Vehicles []string  `json:"vehicles"`
	Topics   []string  `json:"topics"`
	Files    []FileRef `json:"files"`
	Previous *Previous `json:"previous"` // null: the first in its folder
}

// FileRef is a copied file and its hash.
type FileRef struct {
	Name   string `json:"name"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// Previous is the session before, as it was found.
type Previous struct {
	Session string `json:"session"`
	Folder  string `json:"folder"`
	Sealed  bool   `json:"sealed"`
	Lines   uint64 `json:"lines"`
	Head    string `json:"head"`
}
