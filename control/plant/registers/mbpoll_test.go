package registers

import (
	"math"
	"os"
	"os/exec"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"drumwright/control/plant"
)

// mbpoll runs a Modbus master by other hands (mbpoll with libmodbus). Without it
// the test is skipped, or fails if DRUMWRIGHT_PEERS=required.
func mbpoll(t *testing.T, args ...string) (string, error) {
	t.Helper()
	path, err := exec.LookPath("mbpoll")
	if err != nil {
		if os.Getenv("DRUMWRIGHT_PEERS") == "required" {
			t.Fatal("mbpoll is not installed and DRUMWRIGHT_PEERS=required")
		}
		t.Skip("mbpoll is not installed")
	}
	out, err := exec.CommandContext(t.Context(), path, args...).CombinedOutput()
	return string(out), err
}

var polled = regexp.MustCompile(`(?m)^\[(\d+)\]:\s+(-?\d+)`)

// values is what mbpoll has shown, by reference.
func values(t *testing.T, out string, err error) map[int]int {
	t.Helper()
	if err != nil {
		t.Fatalf("mbpoll: %v\n%s", err, out)
	}
	got := map[int]int{}
	for _, f := range polled.FindAllStringSubmatch(out, -1) {
		ref, _ := strconv.Atoi(f[1])
		got[ref], _ = strconv.Atoi(f[2])
	}
	return got
}

func warm(s *Server) (r plant.Readings, err error) {
	s.With(func(m *plant.Machine) { m.WarmStart(plant.Warm{InletC: 180, SkinC: 190, ExhaustC: 170, Running: true}) })
	err = s.Advance(0.05)
	s.With(func(m *plant.Machine) { r = m.Readings() })
	return r, err
}

// three checks that registers 0 to 2 show bean, inlet air and drum skin in
// 0.1 °C, as both example machines have them.
func three(t *testing.T, got map[int]int, r *plant.Readings) {
	t.Helper()
	want := []float64{r.BeanProbe.C, r.InletProbe.C, r.SkinProbe.C}
	if len(got) != len(want) {
		t.Fatalf("mbpoll shows %v, want %d values", got, len(want))
	}
	for i, c := range want {
		if math.Abs(float64(got[i])*0.1-c) > 0.05+1e-9 {
			t.Errorf("register %d shows %d, the plant reads %v °C", i, got[i], c)
		}
	}
}

func TestMbpollOverRTU(t *testing.T) {
	for _, parity := range []string{"none", "even"} {
		t.Run(parity, func(t *testing.T) {
			m := example(t, "lark-300")
			m.BusList[0].RTU.Baud, m.BusList[0].RTU.Parity = 19200, parity
			s := simulated(t, m)
			listen(t, s)
			r, err := warm(s)
			if err != nil {
				t.Fatal(err)
			}
			path := m.BusList[0].RTU.Device
			line := []string{"-m", "rtu", "-b", "19200", "-P", parity, "-o", "5", "-0"}
			out, err := mbpoll(t, append(line, "-a", "2", "-r", "0", "-c", "3", "-t", "3", "-1", path)...)
			three(t, values(t, out, err), &r)

			// 4000 hundredths of a percent of 75 Hz are 30 Hz, as the lark's drum
			// drive counts.
			if out, err := mbpoll(t, append(line, "-a", "1", "-r", "8192", "-t", "4", path, "2", "4000")...); err != nil {
				t.Fatalf("writing: %v\n%s", err, out)
			}
			for range 600 {
				if err := s.Advance(0.05); err != nil {
					t.Fatal(err)
				}
			}
			s.With(func(m *plant.Machine) { r = m.Readings() })
			if hz := r.DrumDrive.OutputHz; hz != 30 {
				t.Errorf("drum drive at %v Hz, want 30", hz)
			}
			out, err = mbpoll(t, append(line, "-a", "1", "-r", "8451", "-c", "1", "-t", "4", "-1", path)...)
			if got := values(t, out, err)[8451]; got != 300 {
				t.Errorf("drum frequency shows %d, want 300 of 0.1 Hz", got)
			}
			refused(t, "Illegal data address", append(line, "-a", "2", "-r", "4", "-c", "4", "-t", "3", "-1", path)...)
			// Asked for its id, a function that no unit has; mbpoll ends with 0 all the same.
			out, _ = mbpoll(t, "-m", "rtu", "-b", "19200", "-P", parity, "-o", "5", "-a", "2", "-u", path)
			if !strings.Contains(out, "Illegal function") {
				t.Errorf("asked for its id, the unit says\n%s", out)
			}
			refused(t, "timed out", "-m", "rtu", "-b", "19200", "-P", parity, "-o", "0.05", "-0", "-a", "9", "-r", "0", "-c", "1", "-t", "3", "-1", path)
		})
	}
}

func TestMbpollOverTCP(t *testing.T) {
	m := example(t, "heron-1000")
	s := simulated(t, m)
	listen(t, s)
	r, err := warm(s)
	if err != nil {
		t.Fatal(err)
	}
	host := []string{"-m", "tcp", "-p", strconv.Itoa(m.BusList[0].TCP.Port), "-o", "5", "-0"}
	out, err := mbpoll(t, append(host, "-a", "1", "-r", "0", "-c", "3", "-t", "3", "-1", m.BusList[0].TCP.Host)...)
	three(t, values(t, out, err), &r)

	// Contacts of the heron: emergency stop and high limit healthy, contactor open.
	out, err = mbpoll(t, append(host, "-a", "4", "-r", "0", "-c", "3", "-t", "1", "-1", m.BusList[0].TCP.Host)...)
	if got := values(t, out, err); len(got) != 3 || got[0] != 1 || got[1] != 1 || got[2] != 0 {
		t.Errorf("contacts show %v", got)
	}
	if out, err := mbpoll(t, append(host, "-a", "2", "-r", "8", "-t", "4", m.BusList[0].TCP.Host, "1", "3000")...); err != nil {
		t.Fatalf("writing: %v\n%s", err, out)
	}
	for range 600 {
		if err := s.Advance(0.05); err != nil {
			t.Fatal(err)
		}
	}
	out, err = mbpoll(t, append(host, "-a", "2", "-r", "2", "-c", "1", "-t", "4", "-1", m.BusList[0].TCP.Host)...)
	if got := values(t, out, err)[2]; got != 3000 {
		t.Errorf("drum frequency shows %d, want 3000 of 0.01 Hz", got)
	}
	refused(t, "Illegal data address", append(host, "-a", "1", "-r", "40", "-c", "3", "-t", "3", "-1", m.BusList[0].TCP.Host)...)
}

// refused checks that mbpoll fails and says why.
func refused(t *testing.T, why string, args ...string) {
	t.Helper()
	if out, err := mbpoll(t, args...); err == nil || !strings.Contains(out, why) {
		t.Errorf("mbpoll %s: %v, want %q in\n%s", strings.Join(args, " "), err, why, out)
	}
}
