package assess

import (
	"drumwright/control"
	"drumwright/control/learn"
	"drumwright/io/record"
)

// pupil keeps what is learned from batch to batch, as the daemon does.
type pupil struct {
	size    Size
	watch   learn.Watcher
	lessons learn.Lessons
	last    *learn.Course // of the last batch
}

func newPupil(s Size, c *Curve) *pupil {
	r := s.recipe(c)
	p := &pupil{size: s, watch: learn.Watcher{ProbeTauS: float64(s.Machine.Bed.ProbeLagS)}}
	p.lessons.Recipe, p.lessons.Path.Curve = r.Name, control.CurveMark(r)
	return p
}

// see follows the scans; it returns the course of a batch that has just taught
// something, else nil.
func (p *pupil) see(s *record.Scan) *learn.Course {
	c := p.watch.Put(s)
	if c == nil {
		return nil
	}
	p.lessons.Path = p.lessons.Path.After(c, control.Dynamics(p.size.Machine), float64(p.size.Charge.Skin))
	p.lessons.Machine = p.lessons.Machine.After(c)
	p.last = c
	return c
}

func (p *pupil) seeAll(s *record.Scan) { p.see(s) }

// now are the lessons of this moment.
func (p *pupil) now() *learn.Lessons {
	l := p.lessons
	return &l
}

// batches roasts n batches of a cell one after the other, each from a warm
// machine and with noise of its own. last is the cell of the last of them.
func (p *pupil) batches(c Cell, n int) (out []*trace, last *Cell, err error) {
	for i := range n {
		c.Lessons, c.Seed = p.now(), c.Seed+uint64(i)*1000
		t, err := roast(&c, false, p.seeAll)
		if err != nil {
			return nil, nil, err
		}
		out = append(out, t)
	}
	return out, &c, nil
}
