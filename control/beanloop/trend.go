package beanloop

import "math"

// trend is a + r t - b exp(-t/θ): a rate of rise that falls towards r. It is a
// form in common use for a smooth roast; no source.
type trend struct{ a, r, b, thetaS float64 }

const (
	// Range of θ tried, and its value when the points are too few to tell, s.
	// Smooth targets of 9 to 12 min have 200 to 250 s (judgement).
	thetaMinS, thetaMaxS, thetaUsualS = 120.0, 400.0, 220.0

	// The beans are near room temperature at charge, and a probe without lag
	// and plunge would start there. This one soft point keeps the extension
	// before the first point sensible where the points alone say little about
	// it; its weight says that the trend may miss it by ten times as much as a
	// real point (judgement).
	anchorC, anchorWeight = 25.0, 0.01
)

func (f trend) at(tS float64) (v, s, b float64) {
	e := f.b * math.Exp(-tS/f.thetaS)
	return f.a + f.r*tS - e, f.r + e/f.thetaS, -e / (f.thetaS * f.thetaS)
}

// fitTrend fits the trend by weighted least squares. Points before the steepest
// stretch are left out if enough remain: there the probe is still recovering
// from the plunge and the rate of rise is climbing, which the trend cannot
// show. Where the rate of rise does not fall at all the trend is straight.
func fitTrend(points []Point) trend {
	steepest, from := 0.0, 0
	for i := 1; i < len(points); i++ {
		if s := (points[i].TempC - points[i-1].TempC) / (points[i].TimeS - points[i-1].TimeS); s > steepest {
			steepest, from = s, i-1
		}
	}
	if len(points)-from >= 3 {
		points = points[from:]
	}
	best, _ := fitAt(points, thetaUsualS, true)
	if len(points) > 2 {
		best, _ = fitAt(points, bestTheta(points), true)
	}
	if best.b <= 0 {
		best, _ = fitAt(points, thetaUsualS, false)
	}
	return best
}

// bestTheta scans the range coarsely and then narrows around the best by golden
// section: the cost is smooth in θ, and in practice has one minimum, but
// nothing guarantees that.
func bestTheta(points []Point) float64 {
	const n = 24
	ratio := math.Pow(thetaMaxS/thetaMinS, 1.0/n)
	theta, lowest := thetaUsualS, math.Inf(1)
	for i := 0; i <= n; i++ {
		th := thetaMinS * math.Pow(ratio, float64(i))
		if _, cost := fitAt(points, th, true); cost < lowest {
			theta, lowest = th, cost
		}
	}
	lo, hi := max(theta/ratio, thetaMinS), min(theta*ratio, thetaMaxS)
	g := (math.Sqrt(5) - 1) / 2
	for hi-lo > 1e-4 {
		p, q := hi-g*(hi-lo), lo+g*(hi-lo)
		_, costP := fitAt(points, p, true)
		_, costQ := fitAt(points, q, true)
		if costP < costQ {
			hi = q
		} else {
			lo = p
		}
	}
	return (lo + hi) / 2
}

// fitAt fits a, r and (if curved) b for one θ and returns the weighted sum of
// squared residuals, K². Columns are made orthogonal one after the other
// (modified Gram-Schmidt), which keeps the fit exact where they nearly agree.
func fitAt(points []Point, thetaS float64, curved bool) (trend, float64) {
	each := func(do func(tS, e, y, w float64)) {
		do(0, 1, anchorC, anchorWeight)
		for _, p := range points {
			do(p.TimeS, math.Exp(-p.TimeS/thetaS), p.TempC, 1)
		}
	}
	n := anchorWeight + float64(len(points))
	var tMean, eMean, yMean float64
	each(func(t, e, y, w float64) {
		tMean += w * t / n
		eMean += w * e / n
		yMean += w * y / n
	})
	var tt, te, ty float64
	each(func(t, e, y, w float64) {
		t -= tMean
		tt += w * t * t
		te += w * t * (e - eMean)
		ty += w * t * (y - yMean)
	})
	eOnT, yOnT := te/tt, ty/tt
	var ee, ey float64
	each(func(t, e, y, w float64) {
		t -= tMean
		e -= eMean + eOnT*t
		ee += w * e * e
		ey += w * e * (y - yMean - yOnT*t)
	})
	eCoef := 0.0
	if curved {
		eCoef = ey / ee
	}
	r := yOnT - eCoef*eOnT
	f := trend{a: yMean - r*tMean - eCoef*eMean, r: r, b: -eCoef, thetaS: thetaS}
	cost := 0.0
	each(func(t, _, y, w float64) {
		v, _, _ := f.at(t)
		cost += w * (y - v) * (y - v)
	})
	return f, cost
}
