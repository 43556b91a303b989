package observe

import "math"

// Readings are averaged over noiseBinS and looked at over the last noiseBins of
// them, every noiseEach; what is seen counts for noiseMemory looks. A longer window
// sees more of slow bumps, but a parabola through it follows less of the plunge, and
// what bumps teach the filter in the first minute stays. Chosen on simulated roasts.
const (
	noiseBinS   = 0.5
	noiseBins   = 24
	noiseEach   = 5
	noiseMemory = 24.0
	noiseFromS  = 25.0 // after charge, when the plunge is that slow
	noiseMaxK2  = 30.0
	// noiseUnseenK2S is what counts until readings can have been looked at: a bed that
	// bumps by 0.3 °C for half a second at a time. Believed like quiet ones, readings
	// of a bed that bumps teach the filter in its first half minute what it needs
	// minutes to forget.
	noiseUnseenK2S = 0.1
	noiseSeenS     = 40.0 // after charge
)

// probeNoise finds in a batch how much a reading of the bean probe is worth: the
// variance of the readings about a parabola through the last 12 s, times
// (1+ρ)/(1-ρ), ρ being the correlation from one to the next. Readings of a bed that
// bumps are off for seconds at a time, and many of them say no more than one.
type probeNoise struct {
	bins   [noiseBins]float64
	filled int // bins so far
	sumC   float64
	inBin  int
	looks  float64
	k2s    float64 // variance of a reading times the time that it stands for, K² s
}

// put takes a reading.
func (p *probeNoise) put(readingC, stepS, sinceChargeS float64) {
	if sinceChargeS < noiseFromS {
		return
	}
	p.sumC += readingC
	p.inBin++
	n := max(1, int(math.Round(noiseBinS/stepS)))
	if p.inBin < n {
		return
	}
	p.bins[p.filled%noiseBins] = p.sumC / float64(p.inBin)
	p.filled++
	p.sumC, p.inBin = 0, 0
	if p.filled < noiseBins || p.filled%noiseEach != 0 {
		return
	}
	p.looks = min(p.looks+1, noiseMemory)
	p.k2s += (p.look()*float64(n)*stepS - p.k2s) / p.looks
}

// pause begins a new window after readings that are missing.
func (p *probeNoise) pause() { p.filled, p.sumC, p.inBin = 0, 0, 0 }

// look is variance times (1+ρ)/(1-ρ) of the bins about their parabola, K².
func (p *probeNoise) look() float64 {
	const mid = (noiseBins - 1) / 2.0
	const square = (noiseBins*noiseBins - 1) / 12.0 // mean of (i-mid)²
	var s0, s1, s2, n1, n2 float64
	at := func(i int) float64 { return p.bins[(p.filled+i)%noiseBins] - p.bins[p.filled%noiseBins] }
	for i := range noiseBins {
		x := float64(i) - mid
		q := x*x - square
		y := at(i)
		s0, s1, s2, n1, n2 = s0+y, s1+x*y, s2+q*y, n1+x*x, n2+q*q
	}
	var both, next, last float64
	for i := range noiseBins {
		x := float64(i) - mid
		r := at(i) - s0/noiseBins - s1/n1*x - s2/n2*(x*x-square)
		both += r * r
		if i > 0 {
			next += r * last
		}
		last = r
	}
	if both == 0 {
		return 0
	}
	rho := min(max(next/both, -0.5), 0.95)
	return both / (noiseBins - 3) * (1 + rho) / (1 - rho)
}

// variance is that of one reading if readings were independent, K²: what is found,
// but not less than leastK2.
func (p *probeNoise) variance(leastK2, stepS, sinceChargeS float64) float64 {
	k2s := p.k2s
	if p.looks == 0 && sinceChargeS < noiseSeenS {
		k2s = noiseUnseenK2S
	}
	return min(max(leastK2, k2s/stepS), max(leastK2, noiseMaxK2))
}
