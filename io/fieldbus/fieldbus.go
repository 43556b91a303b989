package fieldbus

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"strconv"
	"time"

	"github.com/goburrow/modbus"

	"drumwright/io/point"
	"drumwright/profiles"
	"drumwright/safety"
)

// Fieldbus is all buses of one machine. See the package comment for which
// goroutine may call what.
type Fieldbus struct {
	m       *profiles.Machine
	buses   []*bus
	workers []*worker // of all buses but inline
	inline  *bus      // served by the caller; nil if there is no TCP bus
	inStep  bool      // all buses are served by the caller, in turn
	access  [numSources]point.Access
	in      [numSources]reading
	scan    uint64
	begun   bool
	closed  bool
}

// Errors of Write.
var (
	ErrNotIssued = errors.New("permit was not issued by a gate; nothing written")
	ErrClosed    = errors.New("fieldbus is closed")
)

// New prepares the buses of a machine: read groups, outputs and transports.
// It opens nothing. The machine must not change afterwards.
func New(m *profiles.Machine, logger *slog.Logger) (*Fieldbus, error) {
	return newFieldbus(m, logger, nil)
}

func newFieldbus(m *profiles.Machine, logger *slog.Logger, exchange Exchange) (*Fieldbus, error) {
	f := &Fieldbus{m: m, access: accessesOf(m), inStep: exchange != nil}
	for i := range m.BusList {
		b, err := newBus(m, i, &f.access, logger, exchange)
		if err != nil {
			return nil, fmt.Errorf("bus %s: %w", m.BusList[i].Name, err)
		}
		f.buses = append(f.buses, b)
	}
	for _, b := range f.buses {
		for _, role := range b.roles {
			f.in[role] = b.in[role]
		}
		switch {
		case f.inStep:
		case f.inline == nil && b.tcp:
			f.inline = b
		default:
			f.workers = append(f.workers, newWorker(b))
		}
	}
	return f, nil
}

// periodOf is the scan period in seconds.
func periodOf(m *profiles.Machine) float64 {
	if m.Scan.PeriodS > 0 {
		return float64(m.Scan.PeriodS)
	}
	return 0.1
}

func newBus(m *profiles.Machine, index int, access *[numSources]point.Access, logger *slog.Logger, exchange Exchange) (*bus, error) {
	file := withDefaults(m.BusList[index].BusFile)
	b := &bus{
		name:    m.BusList[index].Name,
		log:     logger,
		tcp:     file.TCP != nil,
		timeout: seconds(float64(file.TimeoutS)),
		retries: file.Retries,
		access:  access,
		turn:    make(chan struct{}, 1),
	}
	far := func() *looped { return &looped{bus: index, exchange: exchange} }
	switch {
	case (file.TCP == nil) == (file.RTU == nil):
		return nil, errors.New("needs either tcp or rtu")
	case exchange != nil && b.tcp:
		l := newTCPLineOn(func(context.Context) (stream, error) { return loopedStream{far()}, nil }, 0)
		l.opener.atOnce = true
		b.line, b.timeout = l, inStepPatience
	case exchange != nil:
		l := newRTULineOn(func(context.Context) (port, error) { return far(), nil }, 0, inStepQuiet, 0)
		l.opener.atOnce, l.pause = true, 0
		b.line, b.timeout = l, inStepPatience
	case b.tcp:
		address := net.JoinHostPort(file.TCP.Host, strconv.Itoa(file.TCP.Port))
		b.line = newTCPLine(address, seconds(float64(file.BackoffS)))
		b.inFlight = max(1, file.InFlight)
		b.aside = func() line { return newTCPLine(address, seconds(float64(file.BackoffS))) }
	default:
		b.line = newRTULine(file.RTU, seconds(float64(file.QuietS)), seconds(float64(file.BackoffS)))
	}
	period := periodOf(m)
	find := func(address uint8) *unit { return b.unit(address, uint64(float64(file.BackoffS)/period)) }

	spans, err := spansOf(m, index)
	if err != nil {
		return nil, err
	}
	for _, c := range clusters(spans, file.HoleWords) {
		b.groups = append(b.groups, group{cluster: c, u: find(c.unit)})
		for _, role := range c.roles {
			b.roles = append(b.roles, role)
			b.in[role] = newReading(period * float64(c.every))
		}
	}
	stagger(b.groups)
	if b.items, err = itemsOf(m, index, find); err != nil {
		return nil, err
	}
	if b.emergency, err = offOrdersOf(b.items); err != nil {
		return nil, err
	}
	for i := range b.items {
		for _, d := range b.items[i].outs {
			if u := b.items[i].u; safety.IsHeat(d.role) {
				u.longest = min(u.longest, max(1, uint64(heatProbeS/period)))
			}
		}
	}
	for i, c := range m.Constants {
		if c.Access.Bus == index {
			find(c.Access.Unit).expect(firstConstant+source(i), c)
		}
	}
	for _, u := range b.units {
		if u.address == 0 && !b.tcp {
			return nil, errors.New("unit 0 is broadcast on a serial line and never answers; use 1 to 247")
		}
	}
	return b, nil
}

// unit finds or makes the unit with that address.
func (b *bus) unit(address uint8, longest uint64) *unit {
	for _, u := range b.units {
		if u.address == address {
			return u
		}
	}
	u := &unit{address: address, longest: max(longest, 1), stats: UnitStats{Unit: address}}
	// The handlers of the library only pack and unpack; the line does the rest.
	if b.tcp {
		h := modbus.NewTCPClientHandler("")
		h.SlaveId = address
		u.client = modbus.NewClient2(h, b.line)
	} else {
		h := modbus.NewRTUClientHandler("")
		h.SlaveId = address
		u.client = modbus.NewClient2(h, b.line)
	}
	b.units = append(b.units, u)
	return u
}

func withDefaults(f profiles.BusFile) profiles.BusFile {
	if f.TimeoutS <= 0 {
		f.TimeoutS = 0.05
		if f.RTU != nil {
			f.TimeoutS = 0.2
		}
	}
	if f.BackoffS <= 0 {
		f.BackoffS = 5
	}
	return f
}

// spansOf lists what is to be read on a bus.
func spansOf(m *profiles.Machine, index int) ([]span, error) {
	var spans []span
	access := accessesOf(m)
	for role := range numSources {
		a := &access[role]
		if !role.fitted(m) || a.Bus != index {
			continue
		}
		s := spanOf(role, a)
		if n := s.end - s.start; s.end > 1<<16 || n > limitOf(a.Table) {
			return nil, fmt.Errorf("%s: %d from address %d does not fit; at most %d in one read and none beyond address 65535",
				role.name(), n, s.start, limitOf(a.Table))
		}
		spans = append(spans, s)
	}
	return spans, nil
}

// Open tries once to open every bus and returns what failed. Calling it is not
// needed: buses that are not open are opened in the background by Read and
// Write, again and again.
func (f *Fieldbus) Open(ctx context.Context) error {
	var errs []error
	for _, b := range f.buses {
		if err := b.line.connect(ctx); err != nil {
			errs = append(errs, fmt.Errorf("bus %s: %w", b.name, err))
			continue
		}
		b.noteOpen()
	}
	return errors.Join(errs...)
}

// Read does one scan's reads on all buses at once and fills img: every input
// that the machine has, Absent for the rest. nowS is the scan time. It returns
// by the deadline whatever happens on the buses; a cancelled ctx ends it after
// the request in hand.
func (f *Fieldbus) Read(ctx context.Context, nowS float64, deadline time.Time, img *point.Image) {
	f.scan++
	if !f.begun {
		f.begin(nowS)
	}
	f.run(deadline, job{ctx: ctx, scan: f.scan, nowS: nowS})
	for _, b := range f.buses {
		w := f.workerOf(b)
		for _, role := range b.roles {
			if w != nil && w.busy {
				f.in[role].miss(point.Timeout)
			} else {
				f.in[role] = b.in[role]
			}
		}
	}
	for role := range numSources {
		v := role.in(img)
		if v == nil {
			continue
		}
		if *v = (point.Value{}); role.fitted(f.m) {
			*v = f.in[role].at(nowS)
		}
	}
	for i := range point.NumInputs {
		if junction := firstJunction + source(i); junction.fitted(f.m) {
			img.In[i] = f.m.In[i].Compensate(img.In[i], f.in[junction].at(nowS))
		}
	}
}

// begin makes the ages of values never read count from the first scan.
func (f *Fieldbus) begin(nowS float64) {
	f.begun = true
	for role := range f.in {
		f.in[role].readS = nowS
	}
	for _, b := range f.buses {
		for role := range b.in {
			b.in[role].readS = nowS
		}
	}
}

// Write brings the outputs that the permit covers to their permitted values on
// all buses, by the deadline. Unchanged outputs are not written again unless
// their refresh is due or the device may have lost them: the connection was
// lost or the unit did not answer. A device that starts anew between two
// requests is not noticed; give its outputs a refresh. HeatOff is repeated until
// acknowledged or the deadline, other permits in the next Write. The error is
// ErrNotIssued, ErrClosed or a *WriteError that names the outputs not
// acknowledged.
func (f *Fieldbus) Write(ctx context.Context, deadline time.Time, p *safety.Permit) error {
	if !p.Issued() {
		return ErrNotIssued
	}
	if f.closed {
		return ErrClosed
	}
	return f.order(ctx, deadline, ordersOf(p))
}

func (f *Fieldbus) order(ctx context.Context, deadline time.Time, o orders) error {
	f.run(deadline, job{ctx: ctx, scan: f.scan, write: true, orders: o})
	var e *WriteError
	for _, b := range f.buses {
		if w := f.workerOf(b); w != nil && w.busy {
			e = f.lateOutputs(b, e)
		} else {
			e = b.unacknowledged(e)
		}
	}
	if e == nil {
		return nil
	}
	return e
}

var errBusLate = errors.New("bus is still busy")

func (f *Fieldbus) lateOutputs(b *bus, e *WriteError) *WriteError {
	for o := range point.NumOutputs {
		if f.m.HasOut[o] && f.buses[f.m.Out[o].Bus] == b {
			if e == nil {
				e = &WriteError{}
			}
			e.Outputs[o] = errBusLate
		}
	}
	return e
}

// run has all buses do a job and waits for them until the deadline.
func (f *Fieldbus) run(deadline time.Time, j job) {
	if f.closed {
		return
	}
	j.deadline = deadline
	if f.inStep {
		for _, b := range f.buses {
			b.do(&j)
		}
		return
	}
	if len(f.workers) == 0 {
		f.inline.do(&j)
		return
	}
	// Workers stop a little early, so that what they have just read counts.
	early := min(2*time.Millisecond, time.Until(deadline)/10)
	j.deadline = deadline.Add(-early)
	for _, w := range f.workers {
		w.give(deadline, &j)
	}
	if f.inline != nil {
		f.inline.do(&j)
	}
	for _, w := range f.workers {
		w.await(deadline)
	}
}

func (f *Fieldbus) workerOf(b *bus) *worker {
	for _, w := range f.workers {
		if w.b == b {
			return w
		}
	}
	return nil
}

// Close closes all buses. The caller writes safety.HeatOff first. It fails if a
// bus is stuck in its driver.
func (f *Fieldbus) Close() error {
	if f.closed {
		return nil
	}
	f.closed = true
	var errs []error
	for _, w := range f.workers {
		w.stop()
		if w.busy {
			errs = append(errs, fmt.Errorf("bus %s: %w", w.b.name, errBusLate))
		}
	}
	for _, b := range f.buses {
		if w := f.workerOf(b); w != nil && w.busy {
			continue
		}
		if err := b.line.close(); err != nil {
			errs = append(errs, fmt.Errorf("bus %s: %w", b.name, err))
		}
		b.mu.Lock()
		b.connected = false
		b.mu.Unlock()
	}
	return errors.Join(errs...)
}
