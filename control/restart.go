package control

import (
	"slices"

	"drumwright/control/batch"
	"drumwright/io/point"
	"drumwright/io/record"
)

// restartHot is the gate's cause for a start that a person must look at.
const restartHot = "restart_hot"

// restart is what is to be remembered of how the controller started.
type restart struct {
	cut, lost bool // as in Restored
	told      bool // the first scan has told of them

	// What was running when the controller came, and has been since. It goes on
	// without the horn: nothing starts that did not turn.
	drum, blower bool
}

func restartOf(r *Restored) restart { return restart{cut: r.OpenBatch, lost: r.Lost} }

// Unsettled is what must outlive a restart beside the latches: whether beans
// are, or may be, in the drum, and whether earlier latches are lost and nobody
// has looked yet.
func (c *Controller) Unsettled() (beans, lost bool) { return c.roast.beansIn, c.restart.lost }

// latches is what the gate starts with. A batch that was cut off, and latches
// that cannot be read, are reasons to look first even if nothing is hot.
func (r *Restored) latches() []string {
	if !(r.OpenBatch || r.Lost) || slices.Contains(r.Latched, restartHot) {
		return r.Latched
	}
	return append(slices.Clone(r.Latched), restartHot)
}

// seeRestart follows what turns on its own from before the start, for as long
// as the gate leaves drum and blower alone. A machine that cannot tell is taken
// to stand still.
func (c *Controller) seeRestart(img *point.Image, rec *record.Scan) {
	r := &c.restart
	if !r.told {
		r.told = true
		if r.cut {
			rec.Add(record.Event{Kind: record.Warning, Name: "batch-cut", Text: "a batch was cut off by the restart: it does not go on, and its beans may still be in the drum"})
		}
		if r.lost {
			rec.Add(record.Event{Kind: record.Warning, Name: "latches-lost", Text: "what was latched before the restart cannot be read: a named person must look and reset"})
		}
	}
	runs := func(i point.Input) bool { return img.In[i].Usable() && img.In[i].V == point.DriveRunning }
	if c.permit.Issued() && c.permit.Covers(point.DrumRun) {
		r.drum, r.blower = r.drum && c.permit.Value(point.DrumRun) >= 0.5, r.blower && c.permit.Value(point.BlowerRun) >= 0.5
		return
	}
	r.drum, r.blower = runs(point.DrumStatus), runs(point.BlowerStatus)
}

// restarted reports whether the machine waits for a person to look after a
// start, and for nothing else.
func (c *Controller) restarted() bool {
	if c.state != batch.Tripped {
		return false
	}
	l := c.gate.First()
	return l != nil && l.ID == restartHot && c.gate.NumLatched() == 1
}

// hearRestart answers a stop or a reset while the machine waits to be looked at.
// Both start nothing but cooling; known says whether the command was one of them.
func (c *Controller) hearRestart(cmd *Command, rec *record.Scan) (ok bool, why string, known bool) {
	if !c.restarted() || cmd.Kind != record.Stop && cmd.Kind != record.ResetTrip {
		return false, "", false
	}
	if !cmd.Local {
		return false, "after a restart drum and air start at the machine only: at its own panel, over its local socket or by its button", true
	}
	ok, why = c.resetTrip(cmd.Who, true, rec)
	if ok {
		c.facts.AskStop = cmd.Kind == record.Stop || c.roast.beansIn // beans are not left to stand in a hot drum
	}
	return ok, why, true
}

// resetTrip resets the gate's trip. Latches that were lost may have been of the
// kind that needs a name.
func (c *Controller) resetTrip(who string, local bool, rec *record.Scan) (bool, string) {
	if c.restart.lost && who == "" && local && c.gate.Tripped() {
		return false, "what was latched before the restart cannot be read: look at the machine and give your name"
	}
	ok, why := c.gate.Reset(who, local, rec)
	if ok {
		c.restart.cut, c.restart.lost = false, false
	}
	return ok, why
}

// pressReset is the reset button: local, but without a name.
func (c *Controller) pressReset(rec *record.Scan) (bool, string) {
	cmd := Command{Command: record.Command{Kind: record.ResetTrip, Local: true}}
	if ok, why, known := c.hearRestart(&cmd, rec); known {
		return ok, why
	}
	return c.resetTrip("", true, rec)
}

// tellRestart is what the operator does after a restart.
func (c *Controller) tellRestart() string {
	r := &c.restart
	switch {
	case r.lost:
		return "The controller restarted and its memory is lost. Look at the machine, then reset with your name."
	case r.cut && (r.drum || r.blower):
		return "The controller restarted in a batch, which does not go on. What turned goes on turning; heat is off. Look first, then cool with drum and air. Let the beans out, then say that they are out."
	case r.cut:
		return "The controller restarted in a batch, which does not go on, and nothing turns. Look into the drum. Cool, or the reset button, starts drum and air after the horn, without heat. Let the beans out, then say that they are out."
	case r.drum || r.blower:
		return "The controller restarted with a hot machine. What turned goes on turning; heat is off. Look first, then cool with drum and air, here or by the reset button."
	}
	return "The controller restarted with a hot machine and nothing turns. Look first. Cool, or the reset button, starts drum and air after the horn, without heat."
}
