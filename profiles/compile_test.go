package profiles_test

import (
	"math"
	"strings"
	"testing"

	"drumwright/io/point"
	"drumwright/profiles"
)

func machine(t testing.TB, name string) *profiles.Machine {
	t.Helper()
	data, ok := profiles.Example("machines/" + name + ".yaml")
	if !ok {
		t.Fatalf("no example %s; there are %v", name, profiles.ExampleNames())
	}
	m, err := profiles.ParseMachine("machines/"+name+".yaml", data)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func recipe(t testing.TB, name string) *profiles.Recipe {
	t.Helper()
	data, ok := profiles.Example("recipes/" + name + ".yaml")
	if !ok {
		t.Fatalf("no example %s; there are %v", name, profiles.ExampleNames())
	}
	r, err := profiles.ParseRecipe("recipes/"+name+".yaml", data)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// What a device must find in its registers, worked out by hand from the units
// that the files name: 60 Hz of 75 Hz are 80.00 %, a two-pole motor turns
// 120·50/2 = 3000 a minute at 50 Hz (synchronous speed, IEC 60034-1), a
// quarter of the power is 25.0 %.
func TestOutputsSpeakTheDevicesUnit(t *testing.T) {
	lark, heron := machine(t, "lark-300"), machine(t, "heron-1000")
	for _, c := range []struct {
		m    *profiles.Machine
		out  point.Output
		v    float64
		want uint16
	}{
		{lark, point.DrumSpeed, 60, 8000},
		{lark, point.BlowerSpeed, 50, 3000},
		{lark, point.DrumRun, 1, 2},
		{lark, point.DrumRun, 0, 1},
		{lark, point.BlowerRun, 1, 1},
		{lark, point.AirHeaterPower, 1, 1 << 1},
		{lark, point.RadiantPower, 0, 0},
		{lark, point.Heartbeat, 1, 1 << 7},
		{heron, point.DrumSpeed, 64.5, 6450},
		{heron, point.AirHeaterPower, 0.25, 250},
		{heron, point.RadiantPower, 1, 1000},
		{heron, point.HeatEnable, 1, 1},
	} {
		var words [2]uint16
		n, err := c.m.Out[c.out].Encode(c.v, &words)
		if err != nil || n != 1 || words[0] != c.want {
			t.Errorf("%s %s of %v: got %d (%d words, %v), want %d", c.m.About.Name, c.out, c.v, words[0], n, err, c.want)
		}
	}
}

// Byte orders: the float32 231.5 is 0x43678000 and the count 70000 is
// 0x00011170 (IEEE 754, worked out by hand).
func TestInputsAreRead(t *testing.T) {
	lark, heron := machine(t, "lark-300"), machine(t, "heron-1000")
	bad := func(c point.Cause) point.Value { return point.Value{Quality: point.Bad, Cause: c} }
	good := func(v float64) point.Value { return point.Value{V: v, Quality: point.Good} }
	for _, c := range []struct {
		m     *profiles.Machine
		in    point.Input
		words []uint16
		want  point.Value
	}{
		{heron, point.Bean, []uint16{1845}, good(184.5)},
		{heron, point.Bean, []uint16{0x8000}, bad(point.OpenProbe)},
		{heron, point.Bean, []uint16{0xFF9C}, good(-10)},
		{heron, point.Bean, []uint16{4501}, point.Value{V: 450.1, Quality: point.Bad, Cause: point.OutOfRange}},
		{heron, point.HeaterElement, []uint16{8000}, good(800)},
		{heron, point.DrumPulses, []uint16{0x0001, 0x1170}, good(70000)},
		{lark, point.DrumPulses, []uint16{0x1170, 0x0001}, good(70000)},
		{lark, point.AirFlow, []uint16{0x0000, 0x7041}, good(15)},
		{lark, point.AirFlow, []uint16{0x0080, 0x6743}, point.Value{V: 231.5, Quality: point.Bad, Cause: point.OutOfRange}},
		{lark, point.Bean, []uint16{0x7FFF}, bad(point.OpenProbe)},
		{lark, point.DrumStatus, []uint16{0x0101}, good(point.DriveRunning)},
		{lark, point.DrumStatus, []uint16{0x0108}, good(point.DriveFault)},
		{lark, point.DrumStatus, []uint16{0x0009}, bad(point.UnknownState)},
		{lark, point.BlowerStatus, []uint16{2}, good(point.DriveRunning)},
		{lark, point.CoverClosed, []uint16{0x0010}, good(0)},
		{lark, point.AirProving, []uint16{0x0008}, good(1)},
		{heron, point.AirProving, []uint16{1}, good(1)},
	} {
		got := c.m.In[c.in].Decode(c.words)
		if math.Abs(got.V-c.want.V) < 1e-9 {
			got.V = c.want.V
		}
		if got != c.want {
			t.Errorf("%s %s of %#x: got %+v, want %+v", c.m.About.Name, c.in, c.words, got, c.want)
		}
	}
}

func TestTimesBecomeScans(t *testing.T) {
	lark, heron := machine(t, "lark-300"), machine(t, "heron-1000")
	if got := heron.Out[point.Heartbeat].RefreshScans; got != 5 {
		t.Errorf("heartbeat every 500 ms at 100 ms: %d scans, want 5", got)
	}
	if got := lark.Out[point.DrumSpeed].RefreshScans; got != 5 {
		t.Errorf("refresh of 1 s at 200 ms: %d scans, want 5", got)
	}
	if got := heron.Out[point.Horn].RefreshScans; got != 0 {
		t.Errorf("no refresh: %d scans, want 0", got)
	}
	if got := lark.In[point.AirFlow]; got.EveryScans != 2 || !got.Alone || got.SpanWords != 4 {
		t.Errorf("flow meter: %+v", got)
	}
	if got := lark.Cycle[point.RadiantPower]; got.PeriodS != 4 || got.MinOnS != 0.2 {
		t.Errorf("window of the panels: %+v", got)
	}
	if heron.Cycle[point.RadiantPower].PeriodS != 0 || heron.DeadHz[point.DrumSpeed] != 5 {
		t.Error("the heron has a number for its panels and a dead band of 5 Hz")
	}
	if got := heron.Out[point.AirHeaterPower]; got.Multiple || lark.Out[point.BlowerSpeed].Multiple != true {
		t.Error("only the lark's blower is written with function 16")
	}
}

func TestHeartbeatHasARhythmByDefault(t *testing.T) {
	m := variant(t, "  drum_run:", "  heartbeat: {bus: line, table: coil, address: 30}\n  drum_run:")
	if got := m.Out[point.Heartbeat].RefreshScans; got != 10 {
		t.Errorf("got %d scans, want 10: 1 s at 100 ms", got)
	}
}

// The heron's inputs fit in four reads of one unit and table each, so that a
// gateway keeps up with ten scans a second.
func TestHeronNeedsFourReads(t *testing.T) {
	m := machine(t, "heron-1000")
	type group struct {
		unit  uint8
		table point.Table
	}
	groups := map[group][2]int{}
	for i := range point.NumInputs {
		if !m.HasIn[i] {
			continue
		}
		a := &m.In[i]
		g := group{a.Unit, a.Table}
		lo, hi := int(a.Address), int(a.Address)+a.Type.Words()
		if old, ok := groups[g]; ok {
			lo, hi = min(lo, old[0]), max(hi, old[1])
		}
		groups[g] = [2]int{lo, hi}
	}
	if len(groups) > 4 {
		t.Errorf("%d groups, want at most 4", len(groups))
	}
	for g, span := range groups {
		if span[1]-span[0] > 125 { // registers in one read, Modbus application protocol V1.1b3, section 6.3
			t.Errorf("unit %d %s: %v", g.unit, g.table, span)
		}
	}
}

func TestDefaults(t *testing.T) {
	m := variant(t, "", "")
	for _, c := range []struct {
		key       string
		got, want float64
	}{
		{"scan.period", float64(m.Scan.PeriodS), 0.1},
		{"time_scale", m.Simulation.TimeScale, 1},
		{"timeout", float64(m.BusList[0].TimeoutS), 0.05},
		{"port", float64(m.BusList[0].TCP.Port), 502},
		{"hole", float64(m.BusList[0].HoleWords), 8},
		{"min_for_heat", float64(m.Air.MinForHeat), 10},
		{"warming", float64(m.Air.WarmFlow), 40},
		{"air.max", float64(m.Air.MaxHz), 60},
		{"idle_speed", float64(m.Drum.IdleSpeed), 425},
		{"element_heat", float64(m.Heaters.Air.ElementJPK), 160},
		{"element_to_air", float64(m.Heaters.Air.ElementWPK), 20},
		{"panel_heat", float64(m.Heaters.Radiant.PanelJPK), 900},
		{"panel_loss", float64(m.Heaters.Radiant.PanelWPK), 0.5},
		{"drum_loss", float64(m.Bed.DrumLoss), 1.6},
		{"max_batch", float64(m.Bed.MaxBatch), 1.25},
		{"min_batch", float64(m.Bed.MinBatch), 0.4},
		{"bean_high.at", float64(m.Limits.BeanHigh.At), 245},
		{"skin_high.after", float64(m.Limits.SkinHigh.AfterS), 2},
		{"drive_ramp", m.Drum.RampHzPerS, 10},
		{"slew", m.Drum.SlewMMPerS2, 3},
		{"emissivity", m.Heaters.Radiant.Emissivity, 0.7},
		{"gain", m.Loops.Air.Gains.GainWPerK, 0},
		{"unit", float64(m.In[point.Bean].Unit), 1},
		{"bean.min", m.In[point.Bean].Min, -10},
		{"bean.max", m.In[point.Bean].Max, 450},
	} {
		if math.Abs(c.got-c.want) > 1e-12 {
			t.Errorf("%s: got %v, want %v", c.key, c.got, c.want)
		}
	}
	if m.Batch.ChargeBy != "probe" || machine(t, "heron-1000").Batch.ChargeBy != "gate" {
		t.Error("without a gate contact the probe tells that the beans are in")
	}
	if m.Telemetry.Journal != "machines/drumwright.db" || m.Telemetry.MQTT != nil {
		t.Errorf("journal %s, broker %v", m.Telemetry.Journal, m.Telemetry.MQTT)
	}
	// A trip with one of its two keys keeps the default of the other.
	if got := machine(t, "lark-300").Limits.SkinHigh; got.At != 295 || got.AfterS != 2 {
		t.Errorf("skin: %+v", got)
	}
	// Zero is a value, not the lack of one.
	zero := variant(t, "tcp: {host: 192.0.2.7}", "tcp: {host: 192.0.2.7}\n    hole: 0\n    retries: 0")
	if b := zero.BusList[0]; b.HoleWords != 0 || b.Retries != 0 {
		t.Errorf("written zeros became %+v", b)
	}
}

// The silence of 3.5 characters of eleven bits at 9600 baud is 4.01 ms; above
// 19,200 baud it is 1.75 ms (Modbus over serial line V1.02, section 2.5.1.1).
func TestSerialDefaults(t *testing.T) {
	for _, c := range []struct {
		rtu         string
		stop        int
		pauseMS     float64
		wantTimeout profiles.Seconds
	}{
		{"{device: /dev/ttyS0, baud: 9600}", 1, 4.0104, 0.2},
		{"{device: /dev/ttyS0, baud: 9600, parity: none}", 2, 4.0104, 0.2},
		{"{device: /dev/ttyS0, baud: 115200, parity: odd}", 1, 1.75, 0.2},
		{"{device: /dev/ttyS0, baud: 115200, parity: none, stop_bits: 1, pause: 3 ms}", 1, 3, 0.2},
	} {
		b := variant(t, "tcp: {host: 192.0.2.7}", "rtu: "+c.rtu).BusList[0]
		if b.RTU.Stop != c.stop || math.Abs(float64(b.RTU.PauseS)*1000-c.pauseMS) > 1e-3 || b.TimeoutS != c.wantTimeout || b.QuietS != 0.25 {
			t.Errorf("%s: %+v, timeout %v, quiet %v", c.rtu, *b.RTU, b.TimeoutS, b.QuietS)
		}
	}
}

func TestBusesKeepTheOrderOfTheFile(t *testing.T) {
	text := "tcp: {host: 192.0.2.7}\n  attic:\n    tcp: {host: 192.0.2.9}\n  cellar:\n    tcp: {host: 192.0.2.8}"
	for range 20 {
		m := variant(t, "tcp: {host: 192.0.2.7}", text)
		if b := m.BusList; len(b) != 3 || b[0].Name != "line" || b[1].Name != "attic" || b[2].Name != "cellar" {
			t.Fatalf("got %+v", b)
		}
	}
}

func TestMissingSaysWhatIsNotCovered(t *testing.T) {
	if got := machine(t, "heron-1000").Missing(); len(got) != 0 {
		t.Errorf("the heron lacks nothing, got %q", got)
	}
	bare := strings.Join(variant(t, "", "").Missing(), "\n")
	for _, role := range []string{"drum_pulses", "air_proving", "emergency_stop_healthy", "heat_enable", "exhaust", "horn"} {
		if !strings.Contains(bare, "no "+role) {
			t.Errorf("nothing is said about %s in:\n%s", role, bare)
		}
	}
}

// variant parses the small machine with one piece of text exchanged.
func variant(t testing.TB, old, text string) *profiles.Machine {
	t.Helper()
	m, err := profiles.ParseMachine("machines/small.yaml", []byte(changed(t, "small-machine.yaml", old, text)))
	if err != nil {
		t.Fatal(err)
	}
	return m
}
