package campaign

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"

	"drumwright/cmd/drumwright/internal/rehearsal"
	"drumwright/control"
	"drumwright/control/plant"
	"drumwright/control/plant/registers"
	"drumwright/io/record"
)

// Pair is two faults that come to one batch.
type Pair struct{ A, B string }

// AllPairs lists every unordered pair of the simulated machine's faults.
func AllPairs() []Pair {
	var out []Pair
	all := plant.Faults()
	for i := range all {
		for _, b := range all[i+1:] {
			out = append(out, Pair{all[i].Name, b.Name})
		}
	}
	return out
}

// SomePairs draws n different pairs.
func SomePairs(n int, seed uint64) []Pair {
	p := AllPairs()
	r := rand.New(rand.NewPCG(seed, 0x70616972))
	r.Shuffle(len(p), func(i, j int) { p[i], p[j] = p[j], p[i] })
	return p[:min(n, len(p))]
}

// PairFailure is a pair that was not survived.
type PairFailure struct {
	A    string  `json:"a"`
	B    string  `json:"b"`
	AAtS float64 `json:"a_at_s"` // after charge
	BAtS float64 `json:"b_at_s"`
	Why  string  `json:"why"`
}

// PairsResult is what came of pairs of faults.
type PairsResult struct {
	Survived int           `json:"survived"`
	Made     int           `json:"made"`
	Failed   []PairFailure `json:"failed"`
	Limits   []string      `json:"limits"` // pairs of which only hardware can do more, and why
}

// Where the faults of a pair fall, s after charge.
const (
	pairFirstS = 10.0
	pairLastS  = 480.0
	pairApartS = 90.0
)

// Pairs plays pairs of faults at random moments of a batch. A pair is survived
// when nothing becomes hotter than it may while there is a healthy way to
// switch heat off, and when heat is off at the end if either fault demands it.
func Pairs(ctx context.Context, b Bench, pairs []Pair) (PairsResult, error) {
	fails := make([]*PairFailure, len(pairs))
	demands := demanding(Table())
	err := parallel(ctx, len(pairs), func(i int) (err error) {
		fails[i], err = playPair(ctx, b, pairs[i], demands)
		return err
	})
	out := PairsResult{Made: len(pairs), Failed: []PairFailure{}, Limits: []string{}}
	for i, f := range fails {
		if why := pairs[i].limit(); why != "" {
			out.Limits = append(out.Limits, fmt.Sprintf("%s and %s: %s", pairs[i].A, pairs[i].B, why))
		}
		if f != nil {
			out.Failed = append(out.Failed, *f)
		}
	}
	out.Survived = out.Made - len(out.Failed)
	return out, err
}

// demanding gives the faults which alone must bring heat off in a roast, and the
// longest time that may take. What shows only in a machine or recipe changed for
// it, such as a cooling fan that is tried before the drop, demands nothing here.
func demanding(rows []Row) map[string]Row {
	out := map[string]Row{}
	for _, r := range rows {
		if r.Want != Trips || len(r.By) != 1 || r.By[0].Fault == "" || !slices.Contains(r.At, Mid) || r.Change != nil {
			continue
		}
		if old, ok := out[r.By[0].Fault]; !ok || r.LimitS > old.LimitS {
			out[r.By[0].Fault] = r
		}
	}
	return out
}

// momentsOf draws when the faults of a pair come: from the pair's names and the
// seed alone, so that one pair can be played again by itself.
func momentsOf(p Pair, seed uint64) (a, b float64) {
	h := uint64(14695981039346656037) // FNV-1a, offset and prime as published
	for _, c := range []byte(p.A + "+" + p.B) {
		h = (h ^ uint64(c)) * 1099511628211
	}
	r := rand.New(rand.NewPCG(seed, h))
	a = pairFirstS + (pairLastS-pairFirstS)*r.Float64()
	b = min(pairLastS, a+pairApartS*r.Float64())
	if r.IntN(2) == 0 {
		a, b = b, a
	}
	return a, b
}

func playPair(ctx context.Context, b Bench, p Pair, demands map[string]Row) (*PairFailure, error) {
	m, err := b.Machine()
	if err != nil {
		return nil, err
	}
	recipe, err := b.Recipe()
	if err != nil {
		return nil, err
	}
	soon(m)
	aS, bS := momentsOf(p, b.Seed)
	first := min(aS, bS)
	both := []Act{{Fault: p.A, AfterS: aS - first}, {Fault: p.B, AfterS: bS - first}}
	slices.SortFunc(both, func(x, y Act) int { return int(10 * (x.AfterS - y.AfterS)) })

	demanded, waitS := "", 0.0
	for _, f := range []string{p.A, p.B} {
		if r, ok := demands[f]; ok && r.fits(m) && (demanded == "" || r.limitS(m) < waitS) {
			demanded, waitS = f, r.limitS(m)
		}
	}
	if p.harmless() {
		demanded = ""
	}
	roastOnly := !slices.Contains(demands[demanded].At, Warming)
	lastS := max(aS, bS) - first
	w := &watch{acts: both, warned: map[string]float64{},
		due: func(s *record.Scan) bool { return s.Batch.SinceS >= first }}
	w.ends = func(w *watch) bool {
		since := w.nowS - w.fromS - lastS
		if n := len(w.trips); n > 0 {
			return since > tailS && w.nowS-w.trips[n-1].atS > tailS
		}
		return since > waitS+2*tailS
	}
	_, err = rehearsal.Run(ctx, rehearsal.Plan{
		Machine: m, Recipe: recipe, Seed: b.Seed, Batches: 1, Mismatch: registers.Drawn(b.Seed), Warm: true,
		Sinks: []control.Sink{w}, Beside: w.beside, MaxS: 4000, AfterS: 4000,
	})
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	var why []string
	fail := func(format string, a ...any) { why = append(why, fmt.Sprintf(format, a...)) }
	switch {
	case w.err != nil:
		fail("%v", w.err)
	case err != nil:
		fail("%v", err)
	case p.switchable():
		if p.blind() {
			demanded = ""
		}
		r := Row{By: both}
		r.judgeBounds(w, fail)
		// What shows in beans only demands nothing any more once they are out.
		out := roastOnly && w.outS > 0 && w.outS-w.fromS < max(aS, bS)-first+waitS
		if demanded != "" && !out && (w.end.AirHeaterW > 0 || w.end.RadiantW > 0) {
			fail("heat is on at the end, %s demands it off", demanded)
		}
	}
	if len(why) == 0 {
		return nil, nil
	}
	return &PairFailure{A: p.A, B: p.B, AAtS: aS, BAtS: bS, Why: strings.Join(why, "; ")}, nil
}

// switchable reports whether at least one way to switch heat off is healthy. With
// the contactor welded there is none against a heater's switch that is stuck, nor
// against an output that ignores what it is told or that another master drives:
// only the hard-wired high limit, the emergency stop and the isolator are left.
func (p Pair) switchable() bool {
	has := func(f string) bool { return p.A == f || p.B == f }
	stuck := []string{"air_heater_stuck_on", "radiant_stuck_on", "air_output_frozen", "radiant_output_frozen", "write_ignored", "write_refused", "foreign_master"}
	return !has("contactor_welded") || !slices.ContainsFunc(stuck, has)
}

// blind reports whether one fault takes away what would show the other: a single
// bean probe is held against the balance of the air alone, which needs the
// exhaust. The loss of the exhaust is told, and no new roast begins.
func (p Pair) blind() bool {
	has := func(f string) bool { return p.A == f || p.B == f }
	return has("bean_probe_drift") && has("exhaust_probe_open")
}

// limit says in what only hardware can help; "" = the pair is judged in full.
func (p Pair) limit() string {
	switch {
	case !p.switchable():
		return "with the contactor welded nothing takes the heater's power away but the hard-wired high limit, the emergency stop and the isolator; not judged"
	case p.blind():
		return "a second bean probe would show the drift; without the exhaust a single one cannot be judged; only what becomes hot is"
	}
	return ""
}

// harmless lists the pairs of which one takes the other's harm away: a broken
// element that cannot heat, a slipping belt on a drum that is too fast.
func (p Pair) harmless() bool {
	for _, x := range [...]Pair{{"air_heater_stuck_on", "air_heater_broken"}, {"radiant_stuck_on", "radiant_broken"}, {"belt_slip", "drum_overspeed"}} {
		if p == x || (p == Pair{x.B, x.A}) {
			return true
		}
	}
	return false
}
