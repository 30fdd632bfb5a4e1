package trail

import "time"

// Bounds of a trail. Hitting one is counted and said, never silent.
const (
	MaxPayload = 1 << 20   // bytes of one item's payload; a longer one is lost and counted
	MaxBody    = 32 << 10  // bytes of a line's body as JSON; a longer one is cut, with its hash
	MaxLine    = 64 << 10  // bytes of one line of events.jsonl, newline not counted
	MaxName    = 64        // bytes of a vehicle, a kind, a session, a guard or a site
	MaxTopic   = 256       // bytes of a topic
	MaxFile    = 16 << 20  // bytes of one file copied into the session
	MaxFiles   = 64        // files copied into the session
	MaxNames   = 256       // vehicles, and topics
	MaxFrame   = 4 << 20   // bytes of one frame of the intake, decompressed
	MaxIntake  = 8 << 20   // bytes of intake that wait for a frame
	MaxQueue   = 4096      // events that wait for the chain
	MaxQueued  = 4 << 20   // bytes of events that wait for the chain
	MaxTail    = 8 << 20   // bytes of one file formed but not yet durable
	MaxFaults  = 100       // problems that a report names; all are counted
	frameBytes = 256 << 10 // bytes of intake after which a frame ends early
)

// Times of a trail.
const (
	FrameSpan     = time.Second            // longest stretch of arrival in one frame
	SyncEvery     = time.Second            // at most one ordinary fsync in this time
	StallAfter    = 2 * time.Second        // a write or fsync that takes longer is a fault
	DurableWithin = 2 * time.Second        // a durable record is answered within this
	retryEvery    = 250 * time.Millisecond // after a failed write
	tidyEvery     = 10 * time.Second       // between looks at the free space
	endWait       = 200 * time.Millisecond // for the disk's last job, once Close has given up
	tickEvery     = 50 * time.Millisecond  // longest the writer sleeps
)

// Space. DefaultBytes bounds all sessions together where Options do not.
const (
	DefaultBytes = 2 << 30
	MinBytes     = 1 << 20   // the least that Options.MaxBytes may be
	freeWarn     = 256 << 20 // less free space on the disk than this is warned of
	warnPart     = 0.75      // of the bound, in what cannot be removed, is warned of
)
