package pose

// Foreign says in words why a sample with that tracker id and stamp, ns, cannot
// be of the session a was made in; empty where it may be. epoch is the wall
// clock, ns since 1970 UTC, at which the tracker's stamp was zero as its
// messages have it now; zero where that is not known.
func (a *Alignment) Foreign(id string, stamp, epoch int64) string {
	c := Config{}
	if epoch != 0 {
		c.WallZero = epoch + stamp // and so the sample arrived at the instant zero
	}
	return c.foreign(a, id, stamp, 0)
}
