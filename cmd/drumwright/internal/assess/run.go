package assess

import (
	"context"
	"errors"
	"runtime"
	"sync"
	"sync/atomic"
)

// Result is what one cell came to.
type Result struct {
	Cell  *Cell  `json:"-"`
	Name  string `json:"name"`
	Size  string `json:"size"`
	Curve string `json:"curve"`
	Group Group  `json:"group"`
	Seed  uint64 `json:"seed"`
	Figures
	BrokenOffBy string `json:"broken_off_by,omitempty"` // cause of a trip; the figures end there

	// BestRmsC is the rms of a run with perfect knowledge and the same limits;
	// where the controller kept the goal of its group that run is spared and
	// this is the controller's own. A cell that such a run keeps to reachRmsC is
	// within reach: what no law could do is no fault of this one.
	BestRmsC float64 `json:"best_rms_c"`
	Feasible bool    `json:"feasible"` // best_rms_c is at most 1.0 °C, without a trip
}

// Run roasts every cell on all cores.
func Run(ctx context.Context, cells []Cell) ([]Result, error) {
	results, errs := make([]Result, len(cells)), make([]error, len(cells))
	var next atomic.Int64
	var wg sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(cells)) {
		wg.Go(func() {
			for ctx.Err() == nil {
				i := int(next.Add(1)) - 1
				if i >= len(cells) {
					return
				}
				results[i], errs[i] = judge(&cells[i])
			}
		})
	}
	wg.Wait()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	return results, errors.Join(errs...)
}

func judge(c *Cell) (Result, error) {
	r := Result{Cell: c, Name: c.Name, Size: c.Size.Name, Curve: c.Curve.Name, Group: c.Group, Seed: c.Seed}
	t, err := roast(c, false, nil)
	if err != nil {
		return r, err
	}
	r.Figures, r.BrokenOffBy = t.figures(), t.brokenOffBy
	r.BestRmsC = r.RmsC
	whole := r.BrokenOffBy == ""
	if !whole || r.RmsC > c.Group.goalRmsC() {
		best, err := roast(c, true, nil)
		if err != nil {
			return r, err
		}
		whole = best.brokenOffBy == ""
		r.BestRmsC = best.figures().RmsC
	}
	r.Feasible = whole && r.BestRmsC <= reachRmsC
	return r, nil
}
