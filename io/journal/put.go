package journal

import "drumwright/io/record"

// Put keeps what is worth keeping of a scan: every event, a sample when one is
// due, and the batch's row when something about it changed. It copies what it
// needs and never waits; scans come in order and from one goroutine.
func (s *Sink) Put(sc *record.Scan) {
	b := &sc.Batch
	id := b.ID
	if id <= s.before {
		id = 0 // none, or a number that an earlier run has used: never resumed
	}
	if id > s.lastBatch.Load() {
		s.lastBatch.Store(id)
	}
	if s.open && id != s.batch.ID {
		s.end(s.result(), sc.UnixNano)
	}
	charged := false
	if !s.open && id > s.closed && (b.SinceS > 0 || milestone(sc, record.MilestoneCharge)) {
		charged, s.open = true, true
		s.batch = record.KeptBatch{ID: id, Result: record.BatchOpen, Recipe: b.Recipe, RecipeHash: b.RecipeHash,
			MachineHash: s.machine, GreenKg: record.Number(b.GreenKg), Charged: record.TimeString(sc.UnixNano)}
	}
	if s.open {
		s.batch.Keep(b)
	}
	in := uint64(0)
	if s.open {
		in = id
	}
	if charged || s.open && sc.NumEvents > 0 {
		kept := s.batch
		s.queue.PutEvent(row{kept: &kept})
	}
	for i := range sc.NumEvents {
		e := &event{record.NewKeptEvent(sc, i), sc.Events[i].Kind, sc.Safety.SafeState, sc.Safety.Tripped}
		s.queue.PutEvent(row{scan: sc.N, batch: id, event: e})
	}
	if charged || sc.ScanS >= s.nextS-sc.Timing.PeriodS/2 {
		s.thin(sc)
		k := record.NewKeptSample(sc)
		s.queue.PutSample(row{scan: sc.N, unixNano: sc.UnixNano, batch: in, sample: &k})
		s.nextS = s.following(sc, charged)
	}
	if s.open && milestone(sc, record.MilestoneCooled) {
		s.end(s.result(), sc.UnixNano)
	}
	if sc.NumEvents > 0 {
		select {
		case s.urgent <- struct{}{}:
		default:
		}
	}
}

// thin keeps samples further apart once half of what may wait does, and says so in
// the journal, for whoever reads the batch later. Events and tape are kept whole.
func (s *Sink) thin(sc *record.Scan) {
	waits, text := s.queue.Len(), "The disk takes nothing and much waits: samples are kept further apart from now on, events and tape are whole."
	everyS := s.cfg.SampleS * idleFactor
	switch {
	case !s.thinned && waits > s.cfg.QueueLen/2:
	case s.thinned && waits < s.cfg.QueueLen/4:
		everyS, text = s.cfg.SampleS, "The disk takes what waited: samples are as close as usual again."
	default:
		return
	}
	s.thinned = !s.thinned
	s.queue.PutEvent(row{scan: sc.N, batch: sc.Batch.ID, event: &event{kind: record.Note, KeptEvent: record.KeptEvent{Time: record.TimeString(sc.UnixNano),
		ScanS: record.Number(sc.ScanS), State: sc.State, Kind: record.Note.String(), Name: "samples-apart", Text: text, Value: record.Number(everyS), Limit: record.Unknown}}})
}

// following is when the next sample is due: on a fixed grid of scan time, so
// that late scans do not add up, and anew from the moment a batch begins. Put
// takes a scan up to half a period early, because scan time is a sum of periods.
func (s *Sink) following(sc *record.Scan, anew bool) float64 {
	every := s.cfg.SampleS
	if !s.open || s.thinned {
		every *= idleFactor
	}
	if next := s.nextS + every; !anew && next > sc.ScanS && next < sc.ScanS+every+sc.Timing.PeriodS {
		return next
	}
	return sc.ScanS + every
}

// result of a batch that ends now: done once the beans were dropped.
func (s *Sink) result() string {
	if s.batch.DropS.Known() {
		return record.BatchDone
	}
	return record.BatchAborted
}

func (s *Sink) end(result string, unixNano int64) {
	s.batch.Result, s.batch.Ended = result, record.TimeString(unixNano)
	kept := s.batch
	s.queue.PutEvent(row{kept: &kept})
	s.closed, s.open = s.batch.ID, false
}

func milestone(sc *record.Scan, name string) bool {
	for i := range sc.NumEvents {
		if e := &sc.Events[i]; e.Kind == record.Milestone && e.Name == name {
			return true
		}
	}
	return false
}
