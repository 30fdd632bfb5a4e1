package console

import "time"

// Bounds of the console. Common practice, no source, where none is named.
const (
	MaxViewers = 64 // browsers that watch at once; one more is told so (503)
	maxConns   = 192
	maxEach    = 128 // connections of one address: as many browsers as can watch, twice
	minToken   = 16  // bytes; 16 random letters and digits are 95 bits
	maxToken   = 256
	maxAsk     = 1 << 10 // bytes of a request's body
	maxHeader  = 8 << 10
	maxLines   = 200 // events kept for the page
	maxBy      = 40  // bytes of who asks

	FrameEvery = 50 * time.Millisecond // 20 frames a second
	haltEvery  = 50 * time.Millisecond // between two stops of one vehicle; the first is never held
	frameWrite = 2 * time.Second       // a browser that takes no byte for so long is given up
	answerIn   = 10 * time.Second
	readIn     = 5 * time.Second
	idleFor    = 30 * time.Second
	reportIn   = 2 * time.Minute
	tarpit     = 250 * time.Millisecond // what an answer waits where too much is asked
	outbox     = 32 << 10               // bytes the system keeps for a browser that does not read

	ordinaryRate, ordinaryBurst = 100, 300 // requests a second, of everybody together
	comeRate, comeBurst         = 50, 250  // new connections a second, of one address
	guessRate, guessBurst       = 1, 5     // wrong tokens a second, of one address
	motionRate, motionBurst     = 2, 6     // starts and resets a second, of everybody together
	addresses                   = 256      // that are told apart; all others share one rate
)
