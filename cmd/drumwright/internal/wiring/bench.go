package wiring

import (
	"context"
	"fmt"
	"time"

	"drumwright/io/fieldbus"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
	"drumwright/safety"
)

// Clock lets a scan's time pass and says how much passed at the machine, s: more than
// a period when the computer is late.
type Clock interface {
	Tick(ctx context.Context) (passedS float64, err error)
}

// scanner is a machine scanned without a controller: read, judged, written.
type scanner struct {
	m      *profiles.Machine
	field  *fieldbus.Fieldbus
	gate   *safety.Gate
	clock  Clock
	nowS   float64
	beatS  float64
	beat   float64
	img    point.Image
	rec    record.Scan
	permit safety.Permit
}

// patience is how long one scan's traffic may take by the wall clock.
const patience = 5 * time.Second

// scan reads, has the gate judge what is asked, and writes what it permits.
func (s *scanner) scan(ctx context.Context, ask map[point.Output]float64) error {
	passedS, err := s.clock.Tick(ctx)
	if err != nil {
		return err
	}
	period := float64(s.m.Scan.PeriodS)
	s.nowS += passedS
	s.field.Read(ctx, s.nowS, time.Now().Add(patience), &s.img)
	var w safety.Wishes
	for o, v := range ask {
		w.Out[o] = v
	}
	if s.m.HasOut[point.Heartbeat] {
		if s.beatS += passedS; s.beatS >= float64(max(1, s.m.Out[point.Heartbeat].RefreshScans))*period-1e-9 {
			s.beatS, s.beat = 0, 1-s.beat
		}
		w.Out[point.Heartbeat] = s.beat
	}
	s.rec = record.Scan{ScanS: s.nowS}
	s.permit = s.gate.Judge(safety.Context{ScanS: s.nowS, PeriodS: period}, &s.img, &w, &s.rec)
	// What was not acknowledged is written again in the next scan, and shows as
	// missing feedback.
	_ = s.field.Write(ctx, time.Now().Add(patience), &s.permit)
	return ctx.Err()
}

// look lets time pass reading only; nothing is written.
func (s *scanner) look(ctx context.Context, seconds float64, each func() bool) error {
	for from := s.nowS; s.nowS-from < seconds-1e-9; {
		passedS, err := s.clock.Tick(ctx)
		if err != nil {
			return err
		}
		s.nowS += passedS
		s.field.Read(ctx, s.nowS, time.Now().Add(patience), &s.img)
		if each != nil && !each() {
			return nil
		}
	}
	return ctx.Err()
}

// hold lets time pass while the same is asked for; each sees every scan and ends
// it by returning false.
func (s *scanner) hold(ctx context.Context, seconds float64, ask map[point.Output]float64, each func() bool) error {
	for from := s.nowS; s.nowS-from < seconds-1e-9; {
		if err := s.scan(ctx, ask); err != nil {
			return err
		}
		if each != nil && !each() {
			return nil
		}
	}
	return nil
}

// words reads the registers of a point aside from the scan.
func (s *scanner) words(ctx context.Context, a *point.Access) ([]uint16, fieldbus.Echo) {
	n := a.Type.Words()
	if a.Table.Bits() {
		n = 1
	}
	n = max(n, a.SpanWords)
	return s.field.Peek(ctx, a.Bus, a.Unit, a.Table, a.Address, n, time.Now().Add(patience))
}

// text is a reading for people.
func text(i point.Input, v point.Value) string {
	if !v.Usable() {
		return v.Quality.String() + ", " + v.Cause.String()
	}
	switch r := i.Role(); r.Kind {
	case point.Contact:
		if v.V >= 0.5 {
			return "on"
		}
		return "off"
	case point.Status:
		return [...]string{"stopped", "running", "fault"}[int(v.V)]
	default:
		return fmt.Sprintf("%.4g %s", v.V, r.Unit)
	}
}
