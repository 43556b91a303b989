package fieldbus

import (
	"fmt"
	"time"

	"drumwright/io/point"
	"drumwright/profiles"
)

// Request is one Modbus request that a machine file leads to.
type Request struct {
	Bus       int // index into the machine's buses
	Unit      uint8
	Table     point.Table
	Address   uint16
	Count     int // registers or bits
	Write     bool
	Reads     []string       // what it reads, in the words of the machine file
	Outputs   []point.Output // what it writes
	Every     int            // reads: scans from one to the next; writes: 1, the worst case of a change in each
	EstimateS float64        // expected time from request to reply
}

// Guesses of what a device needs to answer. Common practice, no source; the
// measured time stands in Stats.
const (
	tcpRoundTrip  = 2 * time.Millisecond
	rtuTurnaround = 5 * time.Millisecond
)

// Plan lists all requests of a machine, reads before writes of each bus, with
// the time each is expected to take.
func Plan(m *profiles.Machine) ([]Request, error) {
	var plan []Request
	for index := range m.BusList {
		spans, err := spansOf(m, index)
		if err != nil {
			return nil, fmt.Errorf("bus %s: %w", m.BusList[index].Name, err)
		}
		file := m.BusList[index].BusFile
		for _, c := range clusters(spans, file.HoleWords) {
			r := Request{Bus: index, Unit: c.unit, Table: c.table, Address: uint16(c.start), Count: c.end - c.start, Every: c.every}
			for _, s := range c.roles {
				r.Reads = append(r.Reads, s.name())
			}
			r.EstimateS = estimate(&file, readRequestBytes, replyBytes(r.Table, r.Count))
			plan = append(plan, r)
		}
		items, err := itemsOf(m, index, func(address uint8) *unit { return &unit{address: address} })
		if err != nil {
			return nil, fmt.Errorf("bus %s: %w", m.BusList[index].Name, err)
		}
		for i := range items {
			it := &items[i]
			r := Request{Bus: index, Unit: it.u.address, Table: it.table, Address: it.address, Count: len(it.want), Write: true, Every: 1}
			for _, d := range it.outs {
				r.Outputs = append(r.Outputs, d.role)
			}
			r.EstimateS = estimate(&file, it.requestBytes(), writeReplyBytes)
			plan = append(plan, r)
		}
	}
	return plan, nil
}

func estimate(file *profiles.BusFile, request, reply int) float64 {
	if file.RTU == nil {
		return tcpRoundTrip.Seconds()
	}
	return (newRTULine(file.RTU, 0, 0).wire(request, reply) + rtuTurnaround).Seconds()
}
