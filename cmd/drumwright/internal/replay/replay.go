package replay

import (
	"bytes"
	"fmt"
	"math"
	"strings"

	"drumwright/control"
	"drumwright/io/record"
	"drumwright/io/tape"
	"drumwright/profiles"
)

// Batch is what there is of a batch.
type Batch struct {
	Segments []*tape.Segment
	Machine  *profiles.Machine // as it was
	Recipes  control.Recipes   // by hash
	Here     string            // version of the program that replays, ending with its kind of computer as system/processor
}

// Rounding is how far decisions may be apart where the batch was recorded on another
// kind of processor, as the share that tape.Compare takes. Some fuse a multiplication
// with the addition that follows, others do not, and their exponentials differ in the
// last digit. A roast stays within a tenth of a billionth of its size; but where a
// value stands just at a threshold, one may switch a scan earlier than the other.
const Rounding = 1e-6

// First is the first scan that was decided otherwise.
type First struct {
	Scan   uint64  `json:"scan"` // since the start of the daemon that recorded it
	ScanS  float64 `json:"scan_s"`
	SinceS float64 `json:"since_charge_s"`
	State  string  `json:"state"`
	tape.Difference
}

// Result is what a replay came to.
type Result struct {
	Scans    int     `json:"scans"`
	Segments int     `json:"segments"`
	FromS    float64 `json:"from_s"` // scan time
	ToS      float64 `json:"to_s"`
	Program  string  `json:"program"`  // version that recorded the last segment
	Cut      bool    `json:"cut"`      // pieces of the tape are missing
	Equal    bool    `json:"equal"`    // every decision, to the bit or within Rounding
	Rounding float64 `json:"rounding"` // what was allowed: 0 = to the bit
	Apart    float64 `json:"apart"`    // how far the furthest number was, where Rounding was allowed
	First    *First  `json:"first_difference"`

	Fields []Field `json:"fields,omitempty"` // with another machine: what would have been otherwise
}

// Field is one number that another machine file would have made otherwise.
type Field struct {
	Name   string  `json:"field"`
	Rms    float64 `json:"rms"`
	Max    float64 `json:"max"` // greatest difference, replayed less recorded
	MaxAtS float64 `json:"max_at_s"`
	FirstS float64 `json:"first_s"` // since charge, as all here; negative before it
	Scans  int     `json:"scans"`   // that differ
}

// Each is told of every scan; either may keep neither record.
type Each func(recorded, replayed *record.Scan)

// Prove replays the batch on the machine as it was and ends at the first
// difference.
func Prove(b *Batch, each Each) (*Result, error) {
	r := &Result{Equal: true}
	var core *control.Controller
	var last uint64
	for _, s := range b.Segments {
		if err := fits(s); err != nil {
			return nil, err
		}
		if r.Rounding = b.rounding(s); core != nil && s.Before.N == last && r.Rounding == 0 { // what was remembered is part of the proof
			if state, err := core.Freeze(nil); err != nil || !bytes.Equal(state, s.State) {
				r.Equal, r.First = false, &First{Scan: last, ScanS: s.Before.ScanS, SinceS: s.Before.Batch.SinceS, State: s.Before.State,
					Difference: tape.Difference{Field: "memory of the controller", Recorded: fmt.Sprintf("%d bytes", len(s.State)), Replayed: fmt.Sprintf("%d other bytes", len(state))}}
				return r, err
			}
		}
		var err error
		if core, err = control.Thaw(b.Machine, b.Recipes, s.State); err != nil {
			return nil, err
		}
		over, err := r.run(s, core, b, func(rec, got *record.Scan) bool {
			if each != nil {
				each(rec, got)
			}
			d, share, differs := tape.Compare(rec, got, r.Rounding)
			if differs {
				r.Equal, r.First = false, first(rec, d)
			} else {
				r.Apart = max(r.Apart, share)
			}
			last = rec.N
			return differs
		})
		if err != nil || over {
			return r, err
		}
	}
	return r, nil
}

// With replays the batch on another machine file and gathers the differences.
func With(b *Batch, with *profiles.Machine, each Each) (*Result, error) {
	r := &Result{Equal: true}
	var sums sums
	var core *control.Controller
	var last uint64
	chargeS := math.NaN()
	for _, s := range b.Segments {
		if err := fits(s); err != nil {
			return nil, err
		}
		r.Rounding = b.rounding(s)
		if core == nil || s.Before.N != last { // what it has come to by itself goes on
			var err error
			if core, err = control.ThawWith(b.Machine, with, b.Recipes, s.State); err != nil {
				return nil, err
			}
		}
		if _, err := r.run(s, core, b, func(rec, got *record.Scan) bool {
			if each != nil {
				each(rec, got)
			}
			if rec.Batch.ID != 0 && math.IsNaN(chargeS) {
				chargeS = rec.ScanS - rec.Batch.SinceS
			}
			if r.First == nil {
				if d, _, differs := tape.Compare(rec, got, r.Rounding); differs {
					r.Equal, r.First = false, first(rec, d)
				}
			}
			sums.add(rec, got)
			last = rec.N
			return false
		}); err != nil {
			return nil, err
		}
	}
	r.Fields = sums.fields(chargeS)
	return r, nil
}

// run plays one segment until judge says that it is enough.
func (r *Result) run(s *tape.Segment, core *control.Controller, b *Batch, judge func(recorded, replayed *record.Scan) bool) (over bool, err error) {
	recorded, replayed := &record.Scan{}, s.Before
	r.Segments++
	r.Program = s.Version
	if r.Scans == 0 {
		r.FromS = s.Before.ScanS
	}
	for {
		heard, ok, err := s.Next(recorded)
		if err != nil || !ok {
			r.Cut = r.Cut || s.Cut
			return false, err
		}
		var cmds []control.Command
		if len(heard) > 0 {
			h, err := control.ReadHeard(b.Recipes, heard)
			if err != nil {
				return false, err
			}
			core.Bar(h.Bar)
			core.Unacknowledged(h.Unacknowledged)
			cmds = h.Commands
		}
		replayed.N, replayed.UnixNano = recorded.N, recorded.UnixNano
		replayed.Timing.PeriodS = float64(b.Machine.Scan.PeriodS)
		img := recorded.Image
		core.Step(recorded.ScanS, &img, cmds, &replayed)
		clear(replayed.Events[replayed.NumEvents:])
		r.Scans++
		r.ToS = recorded.ScanS
		if judge(recorded, &replayed) {
			return true, nil
		}
	}
}

// rounding is what must be allowed for a segment.
func (b *Batch) rounding(s *tape.Segment) float64 {
	if kind(s.Version) == kind(b.Here) {
		return 0
	}
	return Rounding
}

// kind is the last word of a version: what computer it was built for.
func kind(version string) string { return version[strings.LastIndexByte(version, ' ')+1:] }

func fits(s *tape.Segment) error {
	if s.Shape != control.FreezeShape() {
		return fmt.Errorf("this batch was recorded by %s, whose controller remembers other things than this one: replay it with that program", s.Version)
	}
	return nil
}

func first(rec *record.Scan, d tape.Difference) *First {
	return &First{Scan: rec.N, ScanS: rec.ScanS, SinceS: rec.Batch.SinceS, State: rec.State, Difference: d}
}

// told are the parts of a record whose numbers are decisions.
var told = [...]string{"Wish[", "Permit[", "Air.", "Base.", "Drum.", "Bean."}

// sums gathers differences by field.
type sums struct {
	by map[int]*sum
	in []int // the fields in order of their first difference
	n  int
}

type sum struct {
	Field
	sum2 float64
}

func (s *sums) add(rec, got *record.Scan) {
	s.n++
	tape.Numbers(rec, got, func(i int, name string, a, b float64) {
		if a == b || math.IsNaN(a) && math.IsNaN(b) {
			return
		}
		f := s.by[i]
		if f == nil {
			known := false
			for _, p := range told {
				known = known || strings.HasPrefix(name, p)
			}
			if !known {
				return
			}
			if s.by == nil {
				s.by = map[int]*sum{}
			}
			f = &sum{Field: Field{Name: name, FirstS: rec.ScanS}}
			s.by[i], s.in = f, append(s.in, i)
		}
		d := b - a
		f.Scans++
		if math.IsNaN(d) {
			return
		}
		f.sum2 += d * d
		if math.Abs(d) > math.Abs(f.Max) {
			f.Max, f.MaxAtS = d, rec.ScanS
		}
	})
}

func (s *sums) fields(chargeS float64) []Field {
	if math.IsNaN(chargeS) {
		chargeS = 0
	}
	list := []Field{}
	for _, i := range s.in {
		f := s.by[i]
		f.Rms = math.Sqrt(f.sum2 / float64(max(1, s.n)))
		f.FirstS -= chargeS
		if f.Max != 0 {
			f.MaxAtS -= chargeS
		}
		list = append(list, f.Field)
	}
	return list
}
