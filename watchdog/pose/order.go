package pose

import "strconv"

// inOrder refuses a sample that is not after the newest one. A sender whose
// clock was set back is refused until it has caught up, counts as a restarted
// tracker (RestartAfter), or until Realign.
func (t *Track) inOrder(s *Sample) *Fault {
	if !t.begun {
		return nil
	}
	if old := t.newest.Stamp; s.Stamp <= old {
		return &Fault{Kind: StampBack, Detail: strconv.FormatInt(s.Stamp, 10) + " ns, the last was " + strconv.FormatInt(old, 10) + " ns"}
	}
	if n := &t.newest; s.HasSeq && n.HasSeq && s.Seq <= n.Seq {
		return &Fault{Kind: SeqBack, Detail: strconv.FormatUint(s.Seq, 10) + ", the last was " + strconv.FormatUint(n.Seq, 10)}
	}
	return nil
}
