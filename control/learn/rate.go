package learn

import (
	"math"
	"slices"
)

// maxKnots bounds a learned rate: 30 min.
const maxKnots = 181

const (
	// What is learned of one batch is that share of what would have cancelled its
	// error, and fades by rateKeep where nothing renews it.
	rateGain = 0.8
	rateKeep = 0.98
	// smoothing is the price of bends in a learned rate and holdBack that of its
	// size, in K² s per (K/s)²; an error without a cheap cancellation stays.
	smoothing = 4e4
	holdBack  = 2e3
	// Errors count from learnFromTurnS after the turn on, and up to clipK: before
	// that the probe still falls from where it was before charge.
	learnFromTurnS = 50.0
	clipK          = 4.0
	// afterLimitS is for how long an error is left alone after heat or inlet air
	// were at a limit: learning cannot add power.
	afterLimitS = 60.0
	// A batch that was at a limit for more than mostLimited of its time teaches no
	// rate: its error says what the machine cannot do.
	mostLimited = 0.10
)

// newRate is the rate for the next batch, from what acted in this one and the
// error that was left: the least and smoothest correction whose answer cancels
// that error (norm-optimal iterative learning, Amann, Owens and Rogers 1996,
// value from memory). Weighing all of the batch at once, it is a filter without
// phase lag.
func newRate(c *Course, d *Dynamics) []float64 {
	n := min(int(math.Ceil(c.endS()/GridS))+1, maxKnots)
	if n < 4 {
		return nil
	}
	weight, errK := c.toLearn()
	if !slices.Contains(weight, 1) || c.limitedShare() > mostLimited {
		return nil
	}
	// answers[k][i] is the probe's answer in bin i to a hat at knot k.
	answers := make([][]float64, n)
	hat := make([]float64, n)
	for k := range n {
		hat[k] = 1
		answers[k] = c.answer(d, hat)
		hat[k] = 0
	}
	a := make([][]float64, n)
	b := make([]float64, n)
	for k := range n {
		a[k] = make([]float64, n)
		for j := 0; j <= k; j++ {
			s := 0.0
			for i := range weight {
				s += weight[i] * answers[k][i] * answers[j][i]
			}
			a[k][j] += binS * s
		}
		for i := range weight {
			b[k] += binS * weight[i] * answers[k][i] * errK[i]
		}
		a[k][k] += holdBack
	}
	for k := 1; k < n-1; k++ { // second differences
		row := map3(k)
		for _, p := range row {
			for _, q := range row {
				if q.at <= p.at {
					a[p.at][q.at] += smoothing * p.by * q.by
				}
			}
		}
	}
	delta := solve(a, b)
	rate := make([]float64, n)
	for k := range rate {
		rate[k] = within(rateKeep*c.actedAt(float64(k)*GridS)+rateGain*delta[k], -rateMaxKPerS, rateMaxKPerS)
	}
	return rate
}

type term struct {
	at int
	by float64
}

func map3(k int) [3]term { return [3]term{{k - 1, 1}, {k, -2}, {k + 1, 1}} }

// solve solves a x = b for a symmetric positive matrix given by its lower
// triangle (Cholesky); both are used up.
func solve(a [][]float64, b []float64) []float64 {
	n := len(b)
	for j := range n {
		for k := range j {
			a[j][j] -= a[j][k] * a[j][k]
		}
		a[j][j] = math.Sqrt(a[j][j])
		for i := j + 1; i < n; i++ {
			for k := range j {
				a[i][j] -= a[i][k] * a[j][k]
			}
			a[i][j] /= a[j][j]
		}
		for k := range j {
			b[j] -= a[j][k] * b[k]
		}
		b[j] /= a[j][j]
	}
	for j := n - 1; j >= 0; j-- {
		for k := j + 1; k < n; k++ {
			b[j] -= a[k][j] * b[k]
		}
		b[j] /= a[j][j]
	}
	return b
}
