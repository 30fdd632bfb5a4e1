package pose

import "time"

// InSeconds is d in seconds, within two units in the last place of d.Seconds(), which
// divides: every sample asks for several.
func InSeconds(d time.Duration) float64 { return float64(float64(d) * 1e-9) }
