package fieldbus

import (
	"context"
	"encoding/binary"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"github.com/goburrow/modbus"

	"drumwright/io/point"
)

// bus is one line with its units, read groups and outputs. Between the calls
// of the scan loop nobody touches it; within one, its owner alone does. Only
// the line itself has a second user, HeatOff: whoever has the turn.
type bus struct {
	turn       chan struct{} // holds one token while somebody is using the line
	interfered atomic.Bool   // HeatOff has written behind the back of the scan
	emergency  []offOrder
	aside      func() line // makes a second line to the same devices; nil if there can be none
	name       string
	tcp        bool
	log        *slog.Logger
	line       line
	units      []*unit
	timeout    time.Duration
	retries    int
	inFlight   int // requests to read that may be under way at once
	flight     flight
	access     *[numSources]point.Access

	groups []group
	cursor int // where the next scan begins, so that a short scan starves no group
	roles  []source
	in     [numSources]reading
	words  [maxBits]uint16

	items []item
	scan  uint64

	mu          sync.Mutex // guards what Stats reports
	connected   bool
	problem     string // why it cannot be opened
	connections uint64
}

// read asks for every group that is due, until the deadline. It begins where
// the last scan had to stop.
func (b *bus) read(ctx context.Context, scan uint64, nowS float64, deadline time.Time) {
	b.scan = scan
	if b.tcp {
		b.ahead(ctx, nowS, deadline)
	}
	first, begin := true, b.cursor
	b.cursor = 0
	cut, refused := false, false
	for k := range b.groups {
		i := begin + k
		if i >= len(b.groups) {
			i -= len(b.groups)
		}
		g := &b.groups[i]
		if !g.due(scan) {
			continue
		}
		if g.answered {
			g.answered, g.owed, first = false, false, false
			continue
		}
		if g.failed == nil && !g.u.mayAsk(scan) {
			g.owed = false
			b.miss(g, point.Timeout)
			continue
		}
		if g.failed == nil && (cut || ctx.Err() != nil || !first && !b.fits(g, deadline)) {
			if !cut {
				cut, b.cursor = true, i
			}
			g.owed = true
			b.miss(g, point.Timeout)
			continue
		}
		first = false
		g.owed = false
		if why := b.ask(g, nowS, deadline); why != point.None {
			b.miss(g, why)
		}
		refused = refused || g.refuse
	}
	if refused {
		b.splitRefused()
	}
}

// fits reports whether a request to the group can be over by the deadline. A
// request cut short is worse than one not sent: its reply still comes, late.
func (b *bus) fits(g *group, deadline time.Time) bool {
	need := max(b.line.wire(readRequestBytes, replyBytes(g.table, g.end-g.start)), seconds(g.u.stats.RoundTripS))
	return time.Until(deadline) > need
}

func (b *bus) miss(g *group, why point.Cause) {
	for _, role := range g.roles {
		b.in[role].miss(why)
	}
}

// ask reads one group, again if that fails and time remains, and returns why
// it got no values. A try that failed in flight was the first.
func (b *bus) ask(g *group, nowS float64, deadline time.Time) point.Cause {
	tries := 1
	if g.u.failures == 0 || g.failed != nil && g.u.failures == 1 {
		tries += b.retries
	}
	err := g.failed
	g.failed = nil
	for {
		if err == nil {
			if err = b.fetchGroup(g, nowS, deadline); err == nil {
				return point.None
			}
		}
		if refusesJoin(err) && len(g.roles) > 1 {
			g.refuse = true
			return point.Refused
		}
		tries--
		if tries == 0 || unsent(err) || reasonOf(err) == Exception || !b.fits(g, deadline) {
			return causeOf(err)
		}
		err = nil
	}
}

// fetchGroup reads and decodes one group. The reply lies in the line's buffer,
// so the turn is kept until it is decoded.
func (b *bus) fetchGroup(g *group, nowS float64, deadline time.Time) error {
	if !b.take(deadline) {
		return errNoTime
	}
	defer b.leave()
	data, err := b.fetch(g.u, g.table, uint16(g.start), uint16(g.end-g.start), deadline)
	if err == nil {
		b.decode(g, data, nowS)
	}
	return err
}

// take waits for the turn until the deadline.
func (b *bus) take(deadline time.Time) bool {
	select {
	case b.turn <- struct{}{}:
		return true
	default:
	}
	timer := time.NewTimer(time.Until(deadline))
	defer timer.Stop()
	select {
	case b.turn <- struct{}{}:
		return true
	case <-timer.C:
		return false
	}
}

func (b *bus) leave() { <-b.turn }

// fetch reads a stretch of a table.
func (b *bus) fetch(u *unit, t point.Table, address, count uint16, deadline time.Time) (data []byte, err error) {
	start, err := b.begin(deadline, readRequestBytes, replyBytes(t, int(count)))
	if err != nil {
		return nil, err
	}
	data, err = readTable(u.client, t, address, count)
	b.note(u, time.Since(start), err)
	return data, err
}

// begin makes the line ready for a transaction of so many bytes out and back
// and sets its deadline. If it fails, nothing may be sent.
func (b *bus) begin(deadline time.Time, out, back int) (time.Time, error) {
	now := time.Now()
	if err := b.line.ready(earlier(now.Add(b.timeout), deadline), deadline); err != nil {
		b.noteClosed()
		return now, err
	}
	b.noteOpen()
	now = time.Now()
	if !now.Before(deadline) {
		return now, errNoTime
	}
	b.line.arm(earlier(now.Add(b.timeout+b.line.wire(out, back)), deadline))
	return now, nil
}

// note counts a request and follows the state of unit and line.
func (b *bus) note(u *unit, took time.Duration, err error) {
	wasSilent := u.silent()
	switch {
	case err == nil:
		u.answered()
	case unitSilent(err):
		u.timedOut(b.scan)
	case reasonOf(err) == Exception:
		u.answered()
	}
	b.mu.Lock()
	u.stats.Requests++
	if err == nil {
		u.stats.Consecutive = 0
		u.stats.RoundTripS = took.Seconds()
	} else {
		u.stats.Consecutive++
		u.stats.Errors[reasonOf(err)]++
	}
	u.stats.Silent = u.silent()
	b.mu.Unlock()

	if err != nil {
		b.log.Debug("request failed", "bus", b.name, "unit", u.address, "reason", reasonOf(err).String(), "error", err)
		if reasonOf(err) != Exception {
			// The device may have been off in between and have lost its outputs.
			b.forget(u)
		}
		b.noteLost(err)
	}
	if u.silent() != wasSilent {
		if wasSilent {
			b.log.Info("unit answers again", "bus", b.name, "unit", u.address)
		} else {
			b.log.Warn("unit does not answer, asking less often", "bus", b.name, "unit", u.address, "error", err)
		}
	}
}

// noteClosed says why the line cannot be opened, once for each reason: the next
// attempts follow every few seconds, for as long as it takes.
func (b *bus) noteClosed() {
	why := b.line.whyClosed()
	if why == nil || b.line.isOpen() || why.Error() == b.problem {
		return
	}
	b.mu.Lock()
	b.problem = why.Error()
	b.mu.Unlock()
	b.log.Warn("bus cannot be opened", "bus", b.name, "error", why)
}

func (b *bus) noteOpen() {
	if b.connected {
		return
	}
	b.mu.Lock()
	b.connected = true
	b.problem = ""
	b.connections++
	b.mu.Unlock()
	b.forget(nil)
	b.log.Info("bus open", "bus", b.name)
}

func (b *bus) noteLost(err error) {
	if !b.connected || b.line.isOpen() {
		return
	}
	b.mu.Lock()
	b.connected = false
	b.mu.Unlock()
	b.forget(nil)
	b.log.Warn("bus lost, opening again", "bus", b.name, "error", err)
}

// decode hands the words of a reply to the roles of a group. The line has
// checked that there are as many as were asked for.
func (b *bus) decode(g *group, data []byte, nowS float64) {
	n := g.end - g.start
	words := b.words[:n]
	if g.table.Bits() {
		for i := range words {
			words[i] = uint16(data[i/8]>>(i%8)) & 1
		}
	} else {
		for i := range words {
			words[i] = binary.BigEndian.Uint16(data[2*i:])
		}
	}
	for _, role := range g.roles {
		a := &b.access[role]
		v := a.Decode(words[int(a.Address)-g.start:])
		b.in[role].took(v, nowS)
		g.u.saw(role, v)
	}
}

// splitRefused gives the accesses of every refused group requests of their
// own, for good: the device does not have the registers between them.
func (b *bus) splitRefused() {
	var groups []group
	for i := range b.groups {
		g := &b.groups[i]
		if !g.refuse {
			groups = append(groups, *g)
			continue
		}
		b.log.Warn("device refuses a joined read, reading its points one by one from now on",
			"bus", b.name, "unit", g.unit, "table", g.table.String(), "address", g.start, "count", g.end-g.start, "points", len(g.roles))
		groups = append(groups, g.split(b.access)...)
	}
	b.groups, b.cursor = groups, 0
}

// refusesJoin reports an exception that may be due to registers nobody asked
// for: illegal address, and illegal value from devices that limit the count.
func refusesJoin(err error) bool {
	me, ok := err.(*modbus.ModbusError)
	return ok && (me.ExceptionCode == modbus.ExceptionCodeIllegalDataAddress || me.ExceptionCode == modbus.ExceptionCodeIllegalDataValue)
}

// readRequestBytes is the length of an RTU request to read.
const readRequestBytes = 8

// replyBytes is the length of an RTU reply to a read.
func replyBytes(t point.Table, count int) int {
	if t.Bits() {
		return 5 + (count+7)/8
	}
	return 5 + 2*count
}

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }
