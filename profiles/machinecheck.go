package profiles

import (
	"fmt"
	"math"
	"net"
	"net/url"
	"strings"

	"drumwright/io/point"
)

// checkMachine holds the rules that tie keys of a machine file together.
func (s *source) checkMachine(m *Machine, resolve resolver) {
	s.checkNames(m)
	s.checkRoles(m)
	s.checkDrum(m)
	s.checkAir(m)
	s.checkBatchRange(m)
	s.checkGains(m)
	s.checkLimits(m)
	s.checkAccess(m)
	s.checkExceptions(m.Exceptions)
	if s.sound("simulation.time_scale") && m.Simulation.TimeScale > 1 {
		for i := range m.BusList {
			if b := &m.BusList[i]; !b.simulated(resolve) {
				s.fault("simulation.time_scale", fmt.Sprintf("%v with the bus %s", m.Simulation.TimeScale, shown(b.Name)),
					"1 unless every bus is a loopback address or a pseudo-terminal", "take it out: a real machine runs in real time")
			}
		}
	}
}

func (s *source) checkNames(m *Machine) {
	const allowed = "a-z, 0-9 and -, up to 40 characters"
	for _, n := range [...]struct{ key, name string }{{"machine.name", m.About.Name}, {"machine.site", m.About.Site}} {
		if n.name != "" && (!plainName(n.name) || strings.Contains(n.name, "_")) {
			s.fault(n.key, shown(n.name), allowed, "write it in small letters with hyphens; topics and metrics use it")
		}
	}
	if l := m.Telemetry.Listen; l != "" && !strings.HasPrefix(l, "/") {
		if _, port, err := net.SplitHostPort(l); err != nil || port == "" {
			s.fault("telemetry.listen", shown(l), "host:port, or a path that begins with /", "write it like 127.0.0.1:8420")
		}
	}
	q := m.Telemetry.MQTT
	if q == nil {
		return
	}
	if m.About.Site == "" {
		s.fault("machine.site", "none", allowed, "name the shop: topics carry it")
	}
	if q.Broker != "" {
		u, err := url.Parse(q.Broker)
		if err != nil || u.Host == "" || !oneOf(u.Scheme, "tcp", "ssl") {
			s.fault("telemetry.mqtt.broker", shown(q.Broker), "tcp or ssl, then ://host:port", "write it like tcp://127.0.0.1:1883")
		}
	}
	if q.CAFile != "" && strings.HasPrefix(q.Broker, "tcp:") {
		s.fault("telemetry.mqtt.ca_file", shown(q.CAFile), "only with a broker over ssl", "write the broker like ssl://broker:8883, or leave the file out")
	}
	for _, t := range []struct{ key, text string }{{"prefix", q.Prefix}, {"discovery", q.Discovery}} {
		if p := t.text; strings.ContainsAny(p, "+#\x00 ") || strings.HasPrefix(p, "/") || strings.HasSuffix(p, "/") || strings.Contains(p, "//") || strings.HasPrefix(p, "$") {
			s.fault("telemetry.mqtt."+t.key, shown(p), "words and slashes, without + # $ and blanks", "use a plain word")
		}
	}
}

func oneOf(word string, list ...string) bool {
	for _, w := range list {
		if w == word {
			return true
		}
	}
	return false
}

// checkRoles asks for the points without which there is no roast.
func (s *source) checkRoles(m *Machine) {
	need := func(section, name string, has bool, why string) {
		key := join(section, name)
		if !has && s.has(section) && s.sound(key) {
			s.fault(key, "no such point", "needed: "+why, "bind "+name+" to its register")
		}
	}
	for _, i := range [...]point.Input{point.Bean, point.InletAir, point.DrumSkin} {
		need("inputs", i.String(), m.HasIn[i], i.Role().About)
	}
	for _, o := range [...]point.Output{point.DrumRun, point.DrumSpeed, point.AirHeaterPower, point.RadiantPower} {
		need("outputs", o.String(), m.HasOut[o], o.Role().About)
	}
	if !m.HasOut[point.BlowerRun] && !m.HasOut[point.BlowerSpeed] {
		need("outputs", point.BlowerRun.String(), false, "blower_run or blower_speed, or both")
	}
	if m.HasIn[point.DrumPulses] && !s.has("drum.pulses_per_turn") {
		s.fault("drum.pulses_per_turn", "no such key", "with drum_pulses, the pulses in one drum turn", "count the marks on the shaft")
	}
	if m.Batch.ChargeBy == "gate" && !m.HasIn[point.ChargeGateOpen] && s.sound("batch.charge_by", "inputs.charge_gate_open") {
		s.fault("batch.charge_by", "gate without the input charge_gate_open", "probe or operator", "bind the contact or choose another way")
	}
}

// froudeMost is the Froude number v²/(gR) above which beans begin to cling to
// the wall (common practice, no source; 1 is where they stay on it all round).
const froudeMost = 0.7

func (s *source) checkDrum(m *Machine) {
	d := &m.Drum
	if !s.sound("drum") || !s.has("drum") {
		return
	}
	if d.Poles%2 != 0 {
		s.fault("drum.poles", fmt.Sprint(d.Poles), "an even number", "read the motor plate")
	}
	if s.sound("drum.current_empty", "drum.current_full") && d.FullA > 0 && d.EmptyA > d.FullA {
		s.fault("drum.current_empty", d.EmptyA.String(), "up to drum.current_full, "+d.FullA.String(), "measure both again")
	}
	if s.sound("drum.min", "drum.max") && d.MinHz >= d.MaxHz {
		s.fault("drum.min", d.MinHz.String(), "less than drum.max, "+d.MaxHz.String(), "exchange or correct them")
	}
	s.checkPaddles(d)
	if !s.sound("drum.skin_speed_per_hz", "drum.gear_ratio", "drum.poles", "drum.radius", "drum.slip") {
		return
	}
	if m.SkinMMPerSPerHz() == 0 {
		if !s.clean("drum") {
			return
		}
		s.fault("drum.skin_speed_per_hz", "no skin speed constant", "skin_speed_per_hz, or gear_ratio and poles", "measure the drum with a tachometer at two frequencies")
		return
	}
	s.checkSchedule("drum.schedule", d.Schedule)
	lim := m.speedLimits()
	if s.sound("drum.min", "drum.max") {
		for i, p := range d.Schedule {
			s.checkSpeed(entry("drum.schedule", i)+".speed", p.Speed, lim)
		}
		if s.has("drum.idle_speed") {
			s.checkSpeed("drum.idle_speed", d.IdleSpeed, lim)
		}
	}
}

// checkPaddles asks for paddles with a height that leaves room for beans.
func (s *source) checkPaddles(d *Drum) {
	if s.sound("drum.paddles", "drum.paddle_height") && d.Paddles > 0 != (d.PaddleM > 0) {
		s.fault("drum.paddles", counted(d.Paddles, "paddle")+" of "+d.PaddleM.String(), "paddles and paddle_height together, or neither", "count and measure them")
	}
	if s.sound("drum.radius") {
		for _, x := range [...]struct {
			key string
			v   Metres
		}{{"drum.paddle_height", d.PaddleM}, {"drum.shaft", d.ShaftM}} {
			if s.sound(x.key) && x.v > d.RadiusM/2 {
				s.fault(x.key, x.v.String(), "up to half the drum's radius, "+(d.RadiusM/2).String(), "measure it again")
			}
		}
	}
}

// speedLimits are the slowest and fastest skin speed that drive and bed allow.
func (m *Machine) speedLimits() [2]SkinSpeed {
	k := m.SkinMMPerSPerHz()
	cling := 1000 * math.Sqrt(froudeMost*9.81*float64(m.Drum.RadiusM))
	return [2]SkinSpeed{SkinSpeed(k * float64(m.Drum.MinHz)), SkinSpeed(math.Min(k*float64(m.Drum.MaxHz), cling))}
}

func (s *source) checkSpeed(key string, v SkinSpeed, lim [2]SkinSpeed) {
	if s.sound(key) && !(v >= lim[0] && v <= lim[1]) {
		s.fault(key, v.String(), fmt.Sprintf("%.0f to %.0f mm/s, by the limits of the drive and so that beans do not cling to the wall", lim[0], lim[1]),
			"choose another speed, or correct the drive's limits and the skin speed constant")
	}
}

// checkSchedule asks for 1 to 16 points with rising loss and speed that does
// not rise.
func (s *source) checkSchedule(key string, points []SpeedAtLoss) {
	if !s.sound(key) {
		return
	}
	if n := len(points); s.has(key) && (n < 1 || n > 16) {
		s.fault(key, counted(n, "point"), "1 to 16", "give one for each stage of the roast")
	}
	for i := 1; i < len(points); i++ {
		p, q := points[i-1], points[i]
		k, before := entry(key, i), entry(key, i-1)
		if s.sound(k+".loss", before+".loss") && q.Loss <= p.Loss {
			s.fault(k+".loss", q.Loss.String(), "more than the "+p.Loss.String()+" before it", "put the points in roast order")
		}
		if s.sound(k+".speed", before+".speed") && q.Speed > p.Speed {
			s.fault(k+".speed", q.Speed.String(), "not more than the "+p.Speed.String()+" before it", "repeat the trial of that stage: speed falls as beans swell and lighten")
		}
	}
}

func (s *source) checkAir(m *Machine) {
	a := &m.Air
	if !s.sound("air", "air.flow") || !s.has("air.flow") {
		return
	}
	n := len(a.Flow)
	if n < 2 || n > 32 {
		s.fault("air.flow", counted(n, "point"), "2 to 32", "measure the flow at more blower frequencies")
		return
	}
	for i := range a.Flow {
		k := entry("air.flow", i)
		if !s.sound(k, k+".blower", k+".flow") {
			return
		}
		if i > 0 && (a.Flow[i].Hz <= a.Flow[i-1].Hz || a.Flow[i].Flow <= a.Flow[i-1].Flow) {
			s.fault(k, fmt.Sprintf("%v at %v", a.Flow[i].Flow, a.Flow[i].Hz), fmt.Sprintf("more than the %v at %v before it", a.Flow[i-1].Flow, a.Flow[i-1].Hz), "put the points in rising order and measure doubtful ones again")
			return
		}
	}
	if a.Flow[0].Hz == 0 && a.Flow[0].Flow > 0 {
		s.fault("air.flow[1]", fmt.Sprintf("%v at 0 Hz", a.Flow[0].Flow), "no flow at 0 Hz", "measure with the blower stopped")
		return
	}
	if s.sound("air.max") && a.MaxHz > a.Flow[n-1].Hz {
		s.fault("air.max", a.MaxHz.String(), "up to the last point of air.flow, "+a.Flow[n-1].Hz.String(), "measure the flow there first")
	}
	most := KgPerHour(m.FlowKgPerS(float64(a.MaxHz)) * 3600 * (1 + 1e-9))
	for _, f := range [...]struct {
		key  string
		flow KgPerHour
	}{{"air.nominal", a.Nominal}, {"air.warming", a.WarmFlow}, {"air.run_down", a.CoolFlow}} {
		if s.has(f.key) && s.sound(f.key, "air.max") && f.flow > most {
			s.fault(f.key, f.flow.String(), fmt.Sprintf("up to %.4g kg/h, what the blower gives at air.max", float64(most)), "choose less, or measure the blower further up")
		}
	}
	if s.sound("air.nominal", "air.min_for_heat") && a.MinForHeat >= a.Nominal {
		s.fault("air.min_for_heat", a.MinForHeat.String(), "less than air.nominal, "+a.Nominal.String(), "correct one of them")
	}
	if s.has("air.warming") && s.sound("air.warming", "air.min_for_heat") && a.WarmFlow < a.MinForHeat {
		s.fault("air.warming", a.WarmFlow.String(), "at least air.min_for_heat, "+a.MinForHeat.String(), "without that much air the heater stays off and the machine does not warm")
	}
}

func (s *source) checkGains(m *Machine) {
	l := &m.Loops.Air
	const key = "loops.air.gains_at_flow"
	if !s.has(key) || !s.sound(key) {
		return
	}
	if n := len(l.AtFlow); n < 1 || n > 8 {
		s.fault(key, counted(n, "flow"), "1 to 8", "two or three between the lowest and the highest flow of a roast are enough")
		return
	}
	if l.Gains != (Gains{}) && s.sound("loops.air.gains") {
		s.fault("loops.air.gains", "gains beside gains_at_flow", "one of them", "take one out")
	}
	for i := 1; i < len(l.AtFlow); i++ {
		k, before := entry(key, i)+".flow", entry(key, i-1)+".flow"
		if s.sound(k, before) && l.AtFlow[i].Flow <= l.AtFlow[i-1].Flow {
			s.fault(k, l.AtFlow[i].Flow.String(), "more than the "+l.AtFlow[i-1].Flow.String()+" before it", "put the flows in rising order")
		}
	}
}

func (s *source) checkBatchRange(m *Machine) {
	b := &m.Bed
	if !s.sound("bed", "bed.nominal_batch", "bed.min_batch", "bed.max_batch") || !s.has("bed") {
		return
	}
	if b.MinBatch > b.NominalBatch {
		s.fault("bed.min_batch", b.MinBatch.String(), "up to bed.nominal_batch, "+b.NominalBatch.String(), "correct one of them")
	}
	if b.MaxBatch < b.NominalBatch {
		s.fault("bed.max_batch", b.MaxBatch.String(), "at least bed.nominal_batch, "+b.NominalBatch.String(), "correct one of them")
	}
}
