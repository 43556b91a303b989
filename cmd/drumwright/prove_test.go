package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"log/slog"
	"net/http/httptest"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"drumwright/control"
	"drumwright/io/journal"
	"drumwright/io/panel"
	"drumwright/io/peertest"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/io/record/recordtest"
	"drumwright/safety/proof"
)

// drumwright runs the program and gives its exit code and output.
func drumwright(t *testing.T, args ...string) (int, string, string) {
	t.Helper()
	var out, errs bytes.Buffer
	code := run(context.Background(), args, strings.NewReader(""), &out, &errs)
	return code, out.String(), errs.String()
}

// What was played on the simulated machine passes, is kept as simulated, and
// counts for nothing on a real one.
func TestProveSimulated(t *testing.T) {
	peertest.OnceIsEnough(t)
	path := filepath.Join(t.TempDir(), "proofs.db")
	code, out, errs := drumwright(t, "prove", "--simulate", "heron-1000", "--json", "--journal", path, "emergency-stop", "air-switch-opens", "electrical")
	if code != codeOK {
		t.Fatalf("code %d: %s%s", code, out, errs)
	}
	var got struct{ Tests []simulatedProof }
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatal(err)
	}
	verdicts := map[string]string{}
	for _, r := range got.Tests {
		verdicts[r.Test] = r.Verdict
	}
	if len(verdicts) != 3 || verdicts["emergency-stop"] != "pass" || verdicts["air-switch-opens"] != "pass" || verdicts["electrical"] != "not simulated" {
		t.Errorf("%v", verdicts)
	}
	r, err := journal.OpenReader(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	kept, err := r.Proofs(context.Background())
	if err != nil || len(kept) != 2 || !kept[0].Simulated || !kept[1].Simulated || kept[0].MachineHash == "" {
		t.Fatalf("%+v, %v", kept, err)
	}
	m, err := machineFrom("heron-1000")
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range proof.Due(proof.Tests(m), kept, time.Now()) {
		if s.State != record.ProofNever {
			t.Errorf("%s is %s by a simulated record", s.ID, s.State)
		}
	}
}

func TestProveRefusals(t *testing.T) {
	for _, c := range []struct {
		args []string
		code int
		want string
	}{
		{[]string{"--simulate", "heron-1000", "tea-break"}, codeInput, `no proof test "tea-break"`},
		{[]string{"emergency-stop"}, codeInput, "--who is missing"},
		{[]string{"--who", "Ada", "--json"}, codeInput, "--json goes with"},
		{[]string{"--who", "Ada", "--journal", "x.db"}, codeInput, "--journal goes with"},
		{[]string{"--who", "Ada", "--address", "nowhere"}, codeInput, "--address"},
		{[]string{"--who", "Ada", "--address", filepath.Join(t.TempDir(), "no.sock")}, codeFailed, "does drumwright serve run"},
	} {
		if code, _, errs := drumwright(t, append([]string{"prove"}, c.args...)...); code != c.code || !strings.Contains(errs, c.want) {
			t.Errorf("%v: code %d, %q", c.args, code, errs)
		}
	}
}

// A machine that is broken fails, and the exit code says so.
func TestProveSimulatedFails(t *testing.T) {
	var out bytes.Buffer
	err := proveSimulated(context.Background(), "heron-1000", []string{"air-switch-opens"}, &proveOptions{seed: 1, broken: []string{"proving_stuck_closed"}}, &out)
	var exit exitError
	if !errors.As(err, &exit) || exit.code != codeFailed || !strings.Contains(out.String(), "does not read off") {
		t.Errorf("%v: %s", err, &out)
	}
}

func TestProveRefusesDuringABatch(t *testing.T) {
	api := panel.New(panel.Config{})
	sc := recordtest.Roasting()
	api.Put(&sc)
	srv := httptest.NewServer(api.Handler())
	defer srv.Close()
	code, out, errs := drumwright(t, "prove", "--who", "Ada", "--address", strings.TrimPrefix(srv.URL, "http://"))
	if code != codeFailed || !strings.Contains(errs, "a batch is in progress (roasting)") || !strings.Contains(out, "Software is no safety device") {
		t.Errorf("code %d: %s%s", code, out, errs)
	}
}

// A person proves the emergency stop and finds the gas alarm mute, on a machine
// whose roasts are held up by an earlier failure.
func TestProveWithAPerson(t *testing.T) {
	s := openShop(t)
	if _, err := s.book.Prove(context.Background(), record.Proof{Test: "cover", Who: "Ada", Result: record.ProofFail, MeasuredS: record.Unknown}); err != nil {
		t.Fatal(err)
	}
	if err := s.warm(); err == nil || !strings.Contains(err.Error(), "the proof test cover failed") {
		t.Fatalf("a failed proof test does not hold up the next roast: %v", err)
	}
	in, to := io.Pipe()
	defer to.Close()
	now := ""
	ada := &actor{to: to}
	ada.act = func(said string) string {
		switch {
		case strings.Contains(said, "(emergency-stop)"):
			now = "stop"
		case strings.Contains(said, "(co-alarm)"):
			now = "gas"
		case strings.HasPrefix(said, "Prepare the machine"):
			if err := s.warm(); err != nil {
				t.Error(err)
				return "q"
			}
		case strings.HasPrefix(said, "Watching the scans"):
			s.fault("estop_pressed", true)
		case strings.HasPrefix(said, "Enter when that is done"):
			s.fault("estop_pressed", false)
		case strings.HasPrefix(said, "Look at the machine"):
			return "reset"
		case strings.Contains(said, "Is that so?") && now == "gas":
			return "n"
		case strings.Contains(said, "Is that so?"):
			return "y"
		case strings.HasPrefix(said, "Note"):
			return "by " + now
		}
		return ""
	}
	o := &proveOptions{who: "Ada", pollEvery: 2 * time.Millisecond, watchFor: 30 * time.Second}
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	err := newProver(s.api(), o, in, ada).run(ctx, []string{"emergency-stop", "co-alarm"})
	var exit exitError
	if !errors.As(err, &exit) || exit.code != codeFailed || !strings.Contains(err.Error(), "co-alarm") || strings.Contains(err.Error(), "emergency-stop") {
		t.Fatalf("%v\n%s", err, &ada.text)
	}
	kept, err := s.keep.Proofs(ctx)
	kept = slices.DeleteFunc(kept, func(p record.Proof) bool { return p.Who == byItself })
	if err != nil || len(kept) != 3 {
		t.Fatalf("%+v, %v", kept, err)
	}
	stop, gas := kept[1], kept[2]
	if stop.Test != "emergency-stop" || stop.Who != "Ada" || stop.Result != record.ProofPass || stop.Note != "by stop" || stop.MachineHash != s.m.Hash || stop.Simulated ||
		!stop.MeasuredS.Known() || !(stop.MeasuredS <= stop.LimitS) || !strings.Contains(stop.Seen, "trip emergency_stop, safe state S6") || !strings.Contains(stop.Seen, "no heat in the 5 s after the reset") {
		t.Errorf("%+v\n%s", stop, &ada.text)
	}
	if gas.Result != record.ProofFail || gas.MeasuredS.Known() || gas.Note != "by gas" {
		t.Errorf("%+v", gas)
	}
	if code, out, errs := drumwright(t, "prove", "--list", "--address", s.address); code != 0 || !strings.Contains(out, "No new roast may start: the proof test co-alarm failed") {
		t.Errorf("code %d: %s%s", code, out, errs)
	}
}

// A stop shows that the contactor opens, and nobody need have asked; a failure
// that stands is not lifted by a pass that came by itself.
func TestContactorIsProvenAtEachStop(t *testing.T) {
	s := openShop(t)
	if err := s.warm(); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	d := s.api()
	peertest.Eventually(t, time.Minute, "contactor closed", func() bool {
		sc, err := d.scan(ctx)
		return err == nil && sc.Image.In[point.ContactorClosed].On()
	})
	if err := d.order(ctx, record.Command{Kind: record.Stop}, "Ada"); err != nil {
		t.Fatal(err)
	}
	var kept []record.Proof
	peertest.Eventually(t, time.Minute, "record of the contactor", func() bool {
		all, err := s.keep.Proofs(ctx)
		if err != nil {
			t.Fatal(err)
		}
		kept = slices.DeleteFunc(all, func(p record.Proof) bool { return p.Test != "contactor" })
		return len(kept) > 0
	})
	if p := kept[0]; p.Result != record.ProofPass || p.Who != byItself || !(p.MeasuredS <= p.LimitS) || p.MachineHash != s.m.Hash || p.When.IsZero() {
		t.Errorf("%+v", p)
	}
	fail := record.Proof{Test: "contactor", Who: "Ada", Result: record.ProofFail, MeasuredS: record.Unknown}
	if _, err := s.book.Prove(ctx, fail); err != nil {
		t.Fatal(err)
	}
	s.book.keepAutomatic(record.Proof{Test: "contactor", Who: byItself, Result: record.ProofPass, MeasuredS: 0.1, LimitS: 0.2})
	if bar := s.book.Bar(); !strings.Contains(bar.Warm, "contactor failed") {
		t.Errorf("held up by %q", bar.Warm)
	}
	fail.Result = record.ProofPass
	if _, err := s.book.Prove(ctx, fail); err != nil || s.book.Bar() != (control.Bar{}) {
		t.Errorf("after a person's pass: %v, %+v", err, s.book.Bar())
	}
}

// A pass that is later than its limit is refused, whoever says so.
func TestBookRefusesALatePass(t *testing.T) {
	m, err := machineFrom("heron-1000")
	if err != nil {
		t.Fatal(err)
	}
	keep, err := journal.Open(filepath.Join(t.TempDir(), "journal.db"), journal.Config{})
	if err != nil {
		t.Fatal(err)
	}
	defer keep.Close()
	m.Proofs.RequireAll = true
	book := newProofBook(context.Background(), m, keep, slog.New(slog.DiscardHandler))
	for _, p := range []record.Proof{
		{Test: "drum-stall", Result: record.ProofPass, MeasuredS: 3.3},
		{Test: "tea-break", Result: record.ProofPass, MeasuredS: record.Unknown},
		{Test: "electrical", Result: record.ProofPass, MeasuredS: record.Unknown},
	} {
		p.Who = "Ada"
		if kept, err := book.Prove(context.Background(), p); !errors.Is(err, record.ErrProof) {
			t.Errorf("%+v is kept as %+v, %v", p, kept, err)
		}
	}
	if bar := book.Bar(); !strings.Contains(bar.Warm, "electrical was never done") || bar.Charge != bar.Warm {
		t.Errorf("with every test required: %+v", bar)
	}
	book.BeginProving("Ada")
	if bar := book.Bar(); bar.Warm != "" || !strings.Contains(bar.Charge, "electrical was never done") {
		t.Errorf("while the machine is warmed for proof tests: %+v", bar)
	}
	book.now = func() time.Time { return time.Now().Add(provingTime + time.Second) }
	if book.look(context.Background()); book.Bar().Warm == "" {
		t.Error("warming for proof tests is let through for ever")
	}
}

func TestPrintable(t *testing.T) {
	for in, want := range map[string]string{"as found 231 °C": "as found 231 °C", "a\tb\x00c": "a b c", "\xff": " "} {
		if got := printable(in); got != want {
			t.Errorf("%q becomes %q, want %q", in, got, want)
		}
	}
	if got := printable(strings.Repeat("°", 2000)); len(got) > longestNote || !strings.HasSuffix(got, "°") {
		t.Errorf("%d bytes, ends %q", len(got), got[len(got)-2:])
	}
}
