package report

import "math"

// pt is a point on the paper, in its units; y grows downwards.
type pt struct{ x, y float64 }

// longestStepS is the longest time between samples that a line may cross.
const longestStepS = 2.5

// stretches cuts the values at s into stretches that are known and recorded
// without a gap, mapped to paper.
func stretches(s, v []float64, mapX, mapY func(float64) float64) [][]pt {
	var all [][]pt
	var run []pt
	for i := range s {
		if !known(v[i]) || (len(run) > 0 && s[i]-s[i-1] > longestStepS) {
			if len(run) > 0 {
				all, run = append(all, run), nil
			}
			if !known(v[i]) {
				continue
			}
		}
		run = append(run, pt{mapX(s[i]), mapY(v[i])})
	}
	if len(run) > 0 {
		all = append(all, run)
	}
	return all
}

// simplify leaves out points whose absence moves the line by less than eps
// anywhere, measured vertically. x must grow. One pass: from the last point kept,
// the cone of directions that pass every later point within eps is narrowed
// until a point falls out of it (the swinging door of process historians,
// Bristol 1990).
func simplify(p []pt, eps float64) []pt {
	if len(p) < 3 {
		return p
	}
	kept := []pt{p[0]}
	from := p[0]
	lo, hi := math.Inf(-1), math.Inf(1)
	for i := 1; i < len(p); i++ {
		if d := (p[i].y - from.y) / (p[i].x - from.x); d < lo || d > hi {
			from = p[i-1]
			kept = append(kept, from)
			lo, hi = math.Inf(-1), math.Inf(1)
		}
		dx := p[i].x - from.x
		if dx <= 0 {
			continue // a crossing of the rim within a rounding of its neighbour
		}
		lo = math.Max(lo, (p[i].y-eps-from.y)/dx)
		hi = math.Min(hi, (p[i].y+eps-from.y)/dx)
	}
	return append(kept, p[len(p)-1])
}

// clip cuts a line at the horizontals top and bottom (top < bottom) and returns
// the pieces between them.
func clip(p []pt, top, bottom float64) [][]pt {
	inside := func(q pt) bool { return q.y >= top && q.y <= bottom }
	cross := func(a, b pt, y float64) pt {
		return pt{a.x + (b.x-a.x)*(y-a.y)/(b.y-a.y), y}
	}
	var all [][]pt
	var run []pt
	end := func() {
		if len(run) > 0 {
			all, run = append(all, run), nil
		}
	}
	for i, q := range p {
		if i > 0 {
			a := p[i-1]
			first, last := top, bottom // the rims in the order the segment meets them
			if a.y > q.y {
				first, last = bottom, top
			}
			if !inside(a) && between(first, a.y, q.y) {
				run = append(run, cross(a, q, first))
			}
			if !inside(q) && between(last, a.y, q.y) {
				run = append(run, cross(a, q, last))
			}
		}
		if inside(q) {
			run = append(run, q)
		} else {
			end()
		}
	}
	end()
	return all
}

// between reports whether v lies strictly between a and b.
func between(v, a, b float64) bool { return (a < v && v < b) || (b < v && v < a) }
