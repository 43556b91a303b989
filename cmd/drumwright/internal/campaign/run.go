package campaign

import (
	"context"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"sync"

	"drumwright/cmd/drumwright/internal/rehearsal"
	"drumwright/control"
	"drumwright/control/plant/registers"
	"drumwright/io/record"
	"drumwright/profiles"
	"drumwright/safety"
)

// Bench makes the machine and the recipe of each run anew.
type Bench struct {
	Machine func() (*profiles.Machine, error)
	Recipe  func() (*profiles.Recipe, error)
	Seed    uint64
}

// Result is what came of one row at one moment.
type Result struct {
	Row       string  `json:"row"`
	Name      string  `json:"fault"`
	Moment    string  `json:"moment"`
	LimitS    float64 `json:"limit_s"`
	MeasuredS float64 `json:"measured_s"`
	Pass      bool    `json:"pass"`
	Cause     string  `json:"cause"`
	SafeState string  `json:"safe_state"`
	Why       string  `json:"why,omitempty"` // it did not pass
}

// job is one row at one moment.
type job struct {
	row   *Row
	phase Phase
}

// Rows plays rows on a machine and gives the results in the order of the rows.
// With quick each row is played at one moment only. Rows that the machine
// cannot play are left out.
func Rows(ctx context.Context, b Bench, rows []Row, quick bool) ([]Result, error) {
	m, err := b.Machine()
	if err != nil {
		return nil, err
	}
	var jobs []job
	for i := range rows {
		r := &rows[i]
		if !r.fits(m) {
			continue
		}
		at := r.At
		if quick && len(at) > 1 {
			at = at[len(at)/2 : len(at)/2+1]
		}
		for _, p := range at {
			jobs = append(jobs, job{r, p})
		}
	}
	out := make([]Result, len(jobs))
	err = parallel(ctx, len(jobs), func(i int) (err error) {
		out[i], err = play(ctx, b, jobs[i].row, jobs[i].phase)
		return err
	})
	return out, err
}

// parallel calls f with 0 to n-1, one goroutine for each processor, until one
// fails.
func parallel(ctx context.Context, n int, f func(int) error) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	next := make(chan int)
	var wg sync.WaitGroup
	for range min(n, runtime.GOMAXPROCS(0)) {
		wg.Go(func() {
			for i := range next {
				if err := f(i); err != nil {
					cancel(err)
				}
			}
		})
	}
	for i := range n {
		select {
		case next <- i:
		case <-ctx.Done():
		}
	}
	close(next)
	wg.Wait()
	return context.Cause(ctx)
}

// play plays one row at one moment.
func play(ctx context.Context, b Bench, r *Row, at Phase) (Result, error) {
	res := Result{Row: r.Hazard, Name: r.Name, Moment: at.String()}
	if r.File != nil {
		why := r.File.accepted()
		res.Pass, res.Why = why == "", why
		return res, nil
	}
	m, err := b.Machine()
	if err != nil {
		return res, err
	}
	recipe, err := b.Recipe()
	if err != nil {
		return res, err
	}
	if at != Warming {
		soon(m)
	}
	if at == Drop || at == Cooling {
		recipe.Drop.LatestS = midS
	}
	if r.Change != nil {
		r.Change(m, recipe)
	}
	res.LimitS = r.limitS(m)
	w := &watch{acts: r.By, due: due(at, lateS), warned: map[string]float64{}}
	if r.Since != nil {
		w.crosses = true
		w.since, w.sinceC = r.Since(m)
	}
	w.ends = func(w *watch) bool { return r.over(w, res.LimitS) }
	_, err = rehearsal.Run(ctx, rehearsal.Plan{
		Machine: m, Recipe: recipe, Seed: b.Seed, Batches: 1, Mismatch: registers.Drawn(b.Seed), Warm: at > Warming,
		Sinks: []control.Sink{w}, Beside: w.beside, MaxS: 4000, AfterS: 4000,
		Habits: rehearsal.Habits{NeverDrop: r.NeverDrop, NeverCharge: r.NeverCharge, NeverStart: at == Cold && r.says(record.StartWarming)},
	})
	if err == nil {
		err = w.err
	}
	if ctx.Err() != nil {
		return res, ctx.Err()
	}
	if err != nil {
		res.Why = err.Error()
		return res, nil
	}
	r.judge(w, at, &res)
	return res, nil
}

func (r *Row) says(k record.Kind) bool {
	return slices.ContainsFunc(r.By, func(a Act) bool { return a.Say != nil && a.Say.Kind == k })
}

// over reports whether the run has shown what it can show.
func (r *Row) over(w *watch, limitS float64) bool {
	sinceS := w.nowS - w.fromS
	tail := tailS
	if r.TailS > 0 {
		tail = r.TailS
	}
	longest := limitS + tail
	if r.ForS > 0 {
		longest = r.ForS
	}
	if w.crosses && w.clockS == 0 {
		longest = 1200
	}
	switch r.Want {
	case Trips, Alarms:
		if n := len(w.trips); n > 0 && (r.ForS == 0 || r.Want == Trips) {
			return w.nowS-w.trips[n-1].atS > tail
		}
	case Warns:
		if at, ok := w.warned[r.Cause[0]]; ok {
			return w.nowS-at > tailS
		}
	}
	if w.crosses && w.clockS > 0 {
		return w.nowS-w.clockS > longest
	}
	return sinceS > longest
}

// accepted says that a broken file was taken, "" when it was refused.
func (f *File) accepted() string {
	data, ok := profiles.Example(f.Name)
	if !ok {
		return "there is no file " + f.Name
	}
	text := strings.Replace(string(data), f.Old, f.New, 1)
	if text == string(data) {
		return fmt.Sprintf("%s does not hold %q", f.Name, f.Old)
	}
	if strings.HasPrefix(f.Name, "machines/") {
		m, err := profiles.ParseMachine(f.Name, []byte(text))
		if err != nil || len(safety.Lowered(m)) > 0 {
			return ""
		}
		return "the machine file was taken"
	}
	r, err := profiles.ParseRecipe(f.Name, []byte(text))
	if err != nil {
		return ""
	}
	data, _ = profiles.Example("machines/heron-1000.yaml")
	m, err := profiles.ParseMachine("heron-1000.yaml", data)
	if err != nil {
		return err.Error()
	}
	if profiles.Fit(r, m) != nil {
		return ""
	}
	return "the recipe was taken"
}

// Covered counts the hazards among the results.
func Covered(results []Result) int {
	seen := map[string]bool{}
	for _, r := range results {
		seen[r.Row] = true
	}
	return len(seen)
}
