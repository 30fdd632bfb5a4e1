package sim

// Faults is what can go wrong with a node's tracker, at once and from any
// goroutine.
type Faults struct{ node *Node }

// with runs f on the node's tracker between two physics steps.
func (f Faults) with(do func(r *rig)) {
	f.node.mu.Lock()
	defer f.node.mu.Unlock()
	do(f.node.rig)
}

// Lose lets the tracker lose its pose (it sends nothing, and the vehicle knows
// it is blind), or find it again.
func (f Faults) Lose(on bool) { f.with(func(r *rig) { r.tracker.Lose(on) }) }

// Freeze lets the tracker repeat its last pose bit for bit with new stamps.
func (f Faults) Freeze(on bool) { f.with(func(r *rig) { r.tracker.Freeze(on) }) }

// Jump moves the reported position by d metres, site frame.
func (f Faults) Jump(d Vec) { f.with(func(r *rig) { r.tracker.Jump(d) }) }

// Home takes jumps back.
func (f Faults) Home() { f.with(func(r *rig) { r.tracker.Home() }) }

// Doubt sets the confidence reported, 0..1.
func (f Faults) Doubt(confidence float64) { f.with(func(r *rig) { r.tracker.Doubt(confidence) }) }

// Silence stops the publishing of a pose that is itself good, or lets it go on:
// the vehicle sees, and nobody hears it.
func (f Faults) Silence(on bool) { f.with(func(r *rig) { r.silent = on }) }

// Thin has only every so manieth pose published, 0: all.
func (f Faults) Thin(every int) { f.with(func(r *rig) { r.thin = every }) }

// RestartTracker restarts the tracker where the vehicle is: a new id, a new
// origin.
func (f Faults) RestartTracker() { f.with(func(r *rig) { r.tracker.Restart(r.plant.State()) }) }

// Recover ends every fault but a restart.
func (f Faults) Recover() {
	f.with(func(r *rig) {
		r.silent, r.thin = false, 0
		r.tracker.Lose(false)
		r.tracker.Freeze(false)
		r.tracker.Home()
		r.tracker.Doubt(1)
	})
}
