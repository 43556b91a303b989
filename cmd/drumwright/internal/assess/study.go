package assess

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"sync"
)

// Study is what is learned from batch to batch, and how well estimates keep to
// what they state of themselves.
type Study struct {
	Repeats []Repeat     `json:"repeats,omitempty"`
	Moves   []Move       `json:"moves,omitempty"`
	Rows    []Row        `json:"rows,omitempty"`
	Coffees []*CoffeeRow `json:"coffees,omitempty"`
	Bands   []Bands      `json:"bands,omitempty"`
	Goals   []Goal       `json:"goals"`
}

// Repeat is one fixed mismatch roasted several times, learning.
type Repeat struct {
	Size    string    `json:"size"`
	Curve   string    `json:"curve"`
	Name    string    `json:"name"`
	RmsC    []float64 `json:"rms_c"` // by batch
	Last    Figures   `json:"last"`  // of the last batch
	Whole   bool      `json:"whole"` // none was broken off
	cell    *Cell     // of the last batch
	InReach bool      `json:"in_reach"`
}

// Move is a batch after learning on another coffee, mass or season.
type Move struct {
	Size     string  `json:"size"`
	Name     string  `json:"name"`
	WithoutC float64 `json:"without_c"` // rms of the same batch unlearned
	WithC    float64 `json:"with_c"`
	Limited  float64 `json:"limited_share"` // of its time at a limit, unlearned
}

// Row is a row of batches back to back from cold.
type Row struct {
	Size    string     `json:"size"`
	Seed    uint64     `json:"seed"`
	DropSdC float64    `json:"drop_sd_c"`
	TimeSdS float64    `json:"time_sd_s"`
	LossSd  float64    `json:"loss_sd"`
	Batches []RowBatch `json:"batches"`
}

const (
	repeatBatches  = 4
	repeatNominalC = 0.1
	repeatC        = 0.3
	moveWorseC     = 0.1
	rowDropSdC     = 0.2
	rowTimeSdS     = 2.0
	rowLossSd      = 0.0015
	repeatSeed     = 201 // drawn cases from here on, six a size
	moveSeed       = 301
	rowSeed        = 3 // two rows a size
)

// coffeeOrSeason reports whether a deviation may differ between batches of one
// machine.
func coffeeOrSeason(d Deviation) bool {
	return d.HeatTransferFrac == 0 && d.FlowFrac == 0 && d.DrumHeatFrac == 0 && d.ProbeLagFrac == 0 && d.GasShareAdd == 0
}

// Learning studies learning on every size.
func Learning(ctx context.Context, sizes []Size) (*Study, error) {
	var cells []Cell
	var moves [][2]Cell
	for _, s := range sizes {
		for i := range curves {
			cells = append(cells, Cell{Size: s, Curve: &curves[i], Group: Nominal, Name: "nominal", Seed: 1})
		}
		for i, x := range singles {
			c := Cell{Size: s, Curve: &curves[0], Group: Single, Name: x.name, Seed: 1, Off: x.off}
			cells = append(cells, c)
			if to := singles[i^1]; coffeeOrSeason(x.off) { // singles come in pairs of opposites
				n := c
				n.Name, n.Off, n.Seed = x.name+", then "+to.name, to.off, 78
				moves = append(moves, [2]Cell{c, n})
			}
		}
		for k := range uint64(6) {
			seed := repeatSeed + k
			cells = append(cells, Cell{Size: s, Curve: &curves[seed%3], Group: Random, Name: fmt.Sprintf("seed %d", seed), Seed: seed, Off: drawn(seed)})
			a, b := drawn(moveSeed+k), drawn(moveSeed+50+k)
			b.HeatTransferFrac, b.ProbeLagFrac, b.GasShareAdd = a.HeatTransferFrac, a.ProbeLagFrac, a.GasShareAdd
			c := Cell{Size: s, Curve: &curves[k%3], Group: Random, Name: fmt.Sprintf("seed %d, then %d", moveSeed+k, moveSeed+50+k), Seed: seed, Off: a}
			n := c
			n.Off, n.Seed = b, seed+77
			moves = append(moves, [2]Cell{c, n})
		}
	}
	st := &Study{Repeats: make([]Repeat, len(cells)), Moves: make([]Move, len(moves)), Rows: make([]Row, 2*len(sizes))}
	err := onAllCores(ctx, len(cells)+len(moves)+len(st.Rows), func(i int) error {
		switch m := i - len(cells); {
		case i < len(cells):
			return st.Repeats[i].play(cells[i])
		case m < len(moves):
			return st.Moves[m].play(moves[m][0], moves[m][1])
		default:
			k := m - len(moves)
			return st.Rows[k].play(sizes[k/2], rowSeed+uint64(k%2))
		}
	})
	if err != nil {
		return nil, err
	}
	var nominal, other heldBack
	moved, rows := tally{}, tally{}
	for i := range st.Repeats {
		r := &st.Repeats[i]
		name := r.Size + " " + r.Curve + " " + r.Name
		switch {
		case !r.InReach:
		case cells[i].Group == Nominal:
			nominal.add(name, r.Whole, &r.Last, repeatNominalC)
		default:
			other.add(name, r.Whole, &r.Last, repeatC)
		}
	}
	worse := ""
	for _, m := range st.Moves {
		ok := m.WithC <= m.WithoutC+moveWorseC
		moved.add(ok)
		if !ok {
			worse += fmt.Sprintf("; %s %s: %.2f °C instead of %.2f, at a limit for %.0f %%", m.Size, m.Name, m.WithC, m.WithoutC, 100*m.Limited)
		}
	}
	for _, r := range st.Rows {
		rows.add(r.DropSdC <= rowDropSdC && r.TimeSdS <= rowTimeSdS && r.LossSd <= rowLossSd)
	}
	st.Goals = []Goal{
		nominal.goal(fmt.Sprintf("after %d batches, nominal", repeatBatches), repeatNominalC, true),
		other.goal(fmt.Sprintf("after %d batches of one mismatch", repeatBatches), repeatC, true),
		moved.goal(fmt.Sprintf("another coffee, mass or season after learning: worse than unlearned by at most %.1f °C", moveWorseC)),
		rows.goal(fmt.Sprintf("%d batches from cold: sd of drop at most %.1f °C, of time %.0f s, of loss %.2f points", rowBatches, rowDropSdC, rowTimeSdS, 100*rowLossSd)),
	}
	st.Goals[2].Got += worse
	return st, nil
}

// play roasts and judges reach by a run with perfect knowledge where needed.
func (r *Repeat) play(c Cell) error {
	*r = Repeat{Size: c.Size.Name, Curve: c.Curve.Name, Name: c.Name}
	ts, last, err := newPupil(c.Size, c.Curve).batches(c, repeatBatches)
	if err != nil {
		return err
	}
	r.cell, r.Whole = last, true
	for _, t := range ts {
		r.Last = t.figures()
		r.RmsC = append(r.RmsC, r.Last.RmsC)
		r.Whole = r.Whole && t.brokenOffBy == ""
	}
	if r.InReach = r.Whole && r.Last.RmsC <= repeatC; r.InReach {
		return nil
	}
	best, err := roast(&c, true, nil)
	if err != nil {
		return err
	}
	r.InReach = best.brokenOffBy == "" && best.figures().RmsC <= reachRmsC
	return nil
}

func (m *Move) play(from, to Cell) error {
	p := newPupil(from.Size, from.Curve)
	if _, _, err := p.batches(from, repeatBatches-1); err != nil {
		return err
	}
	without, err := roast(&to, false, nil)
	if err != nil {
		return err
	}
	to.Lessons = p.now()
	with, err := roast(&to, false, nil)
	if err != nil {
		return err
	}
	f := without.figures()
	*m = Move{Size: to.Size.Name, Name: to.Name, WithoutC: f.RmsC, WithC: with.figures().RmsC, Limited: f.LimitedShare}
	return nil
}

func (r *Row) play(s Size, seed uint64) error {
	b, err := row(s, &curves[0], seed, rowBatches, true)
	if err != nil {
		return err
	}
	*r = Row{Size: s.Name, Seed: seed, Batches: b, DropSdC: spread(b, func(b *RowBatch) float64 { return b.DropC }),
		TimeSdS: spread(b, func(b *RowBatch) float64 { return b.DropS }), LossSd: spread(b, func(b *RowBatch) float64 { return b.Loss })}
	return nil
}

// tally counts how often something was kept.
type tally struct{ n, ok int }

func (t *tally) add(ok bool) {
	t.n++
	if ok {
		t.ok++
	}
}

func (t *tally) goal(text string) Goal {
	return Goal{Text: text, Got: fmt.Sprintf("%d of %d", t.ok, t.n), Kept: t.ok == t.n}
}

// onAllCores does n things.
func onAllCores(ctx context.Context, n int, do func(int) error) error {
	errs := make([]error, n)
	next := make(chan int)
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := range next {
				errs[i] = do(i)
			}
		})
	}
	for i := 0; i < n && ctx.Err() == nil; i++ {
		next <- i
	}
	close(next)
	wg.Wait()
	return errors.Join(append(errs, ctx.Err())...)
}
