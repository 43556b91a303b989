package assess

import (
	"math"
	"math/rand/v2"
	"slices"

	"drumwright/control/bean"
)

// Coffees are roasted coffeeBatches times each: the last batch has three weighed
// ones before it. Their seeds begin at coffeeSeed; nothing was chosen on them.
const (
	coffeeBatches = 4
	coffeeCases   = 60 // a size, of each that is told
	coffeeSeed    = 501
	// What differs from batch to batch of a coffee: the moisture reading's error,
	// the lot's moisture, the weighing's error, and where it cracks.
	moistureReadBy = 0.003  // up to, wet basis
	moistureLotSd  = 0.0008 // wet basis
	weighedSd      = 0.001  // of the green mass
	crackSpreadK   = 0.5    // sd, of the true bean temperature at first crack
	aheadS         = 60.0   // of first crack, where its prediction is judged
	// Bean temperature and rate are judged each beanEveryS from beanFromS after
	// charge on, the probe's lag lagAtS after the turn.
	beanFromS, beanEveryS = 60.0, 10.0
	lagAtS                = 30.0
)

// told is how much of a coffee and its machine the controller is told.
type told uint8

const (
	allTold   told = iota // batch weighed in, gas share calibrated, moisture measured
	allButWet             // the same, moisture not known to 2 points
	nothing               // nothing but the machine file
	numberTold
)

func (t told) String() string {
	return [...]string{"moisture measured", "moisture not known", "nothing calibrated"}[t]
}

// batches are how many of a coffee are roasted.
func (t told) batches() int {
	if t == nothing {
		return 1
	}
	return coffeeBatches
}

// CoffeeBatch is one batch of a coffee. Losses are shares of the green mass.
type CoffeeBatch struct {
	LossError  float64 `json:"loss_error"` // estimated less true at the planned drop
	LossSd     float64 `json:"loss_sd"`    // as stated then
	CrackOffS  float64 `json:"crack_off_s"`
	CrackSdS   float64 `json:"crack_sd_s"`       // as stated a minute before
	CrackKnown bool    `json:"crack_known"`      // a prediction was made a minute before
	BeanRmsC   float64 `json:"bean_error_rms_c"` // estimated less true bean temperature, from a minute after charge
	LagOff     float64 `json:"probe_lag_error"`  // share of the true lag, half a minute after the turn
	RmsC       float64 `json:"rms_c"`

	bean, rate bands
}

// CoffeeRow is one coffee on one machine, batch after batch.
type CoffeeRow struct {
	Size    string        `json:"size"`
	Seed    uint64        `json:"seed"`
	Told    string        `json:"told"` // what the controller was told
	Batches []CoffeeBatch `json:"batches"`

	told told
}

// coffee roasts one coffee several times, kinetics and all the rest as drawn from
// the seed, weighed after each batch.
func coffee(s Size, seed uint64, what told) (*CoffeeRow, error) {
	r := rand.New(rand.NewPCG(seed, 0x636f66666565))
	span := func(w float64) float64 { return w * (2*r.Float64() - 1) }
	off := drawn(seed)
	off.MainsFrac = span(0.03)
	crackC := 198 + 4*r.NormFloat64()
	gasShareBy := calibratedSd * r.NormFloat64()
	c := Cell{Size: s, Curve: &curves[seed%uint64(len(curves))], Group: Random}
	p := newPupil(s, c.Curve)
	p.lessons.Recipe = s.recipe(c.Curve).Name
	row := &CoffeeRow{Size: s.Name, Seed: seed, Told: what.String(), told: what}
	for i := range what.batches() {
		c.Off, c.Seed = off, seed+1000*uint64(i)
		c.Off.MoistureWBAdd += moistureLotSd * r.NormFloat64()
		readBy := span(moistureReadBy)
		if what != nothing {
			c.Told = &Knowledge{Mass: true, GasShare: true, GasShareBy: gasShareBy, Moisture: what == allTold, MoistureBy: readBy}
		}
		c.Crack = crackC + crackSpreadK*r.NormFloat64()
		c.Lessons = p.now()
		t, err := roast(&c, false, p.seeAll)
		if err != nil {
			return nil, err
		}
		if t.brokenOffBy != "" {
			return row, nil
		}
		row.Batches = append(row.Batches, t.coffeeBatch())
		green, told := p.last.GreenKg, usualMoisture
		if what == allTold {
			told += c.Off.MoistureWBAdd + readBy
		}
		seen := p.last.Seen(c.Lessons, bean.MoistureDryBasis(told), what == allTold, calibratedSd)
		p.lessons.Coffee = p.lessons.Coffee.After(green, green*(1-t.lossTrue+weighedSd*r.NormFloat64()), seen)
		if t.crackS > 0 {
			p.lessons.Coffee = p.lessons.Coffee.Heard(p.last.CrackBeanC, p.last.CrackLateS)
		}
	}
	return row, nil
}

// coffeeBatch is what a batch says of its estimates.
func (t *trace) coffeeBatch() CoffeeBatch {
	f := t.figures()
	b := CoffeeBatch{LossError: t.lossErr, LossSd: t.lossSd, RmsC: f.RmsC}
	if at, _ := slices.BinarySearch(t.sinceS, t.crackS-aheadS); t.crackS > 0 && at < len(t.dueS) && t.dueS[at] > 0 {
		b.CrackKnown, b.CrackOffS, b.CrackSdS = true, t.dueS[at]-t.crackS, t.dueSdS[at]
	}
	if at, _ := slices.BinarySearch(t.sinceS, f.TurnS+lagAtS); at < len(t.lagS) {
		b.LagOff = t.lagS[at]/t.lagTrueS - 1
	}
	sum, n, next := 0.0, 0, beanFromS
	for i, s := range t.sinceS {
		if s < beanFromS {
			continue
		}
		sum += t.beanErrC[i] * t.beanErrC[i]
		n++
		if s >= next {
			next += beanEveryS
			b.bean.add(t.beanErrC[i], t.beanSdC[i])
			b.rate.add(t.rateErr[i], t.rateSd[i])
		}
	}
	b.BeanRmsC = root(sum, n)
	return b
}

// Bands says how an estimate keeps to what it states of itself.
type Bands struct {
	What    string  `json:"what"`
	Told    string  `json:"told"` // what the controller was told
	N       int     `json:"n"`    // batches
	Rms     float64 `json:"rms"`
	Ninety5 float64 `json:"abs_95"`
	Worst   float64 `json:"abs_worst"`
	Stated  float64 `json:"stated_sd_rms"`
	In68    float64 `json:"within_1_sd"`
	In95    float64 `json:"within_1_96_sd"`
	Unit    string  `json:"unit"`
}

// bands gathers errors with their stated sd.
type bands struct {
	err, sd []float64
	batches int
}

func (b *bands) add(err, sd float64) {
	b.err, b.sd = append(b.err, err), append(b.sd, sd)
}

// one takes in a further batch's only error.
func (b *bands) one(err, sd float64) {
	b.add(err, sd)
	b.batches++
}

// join takes in a further batch's.
func (b *bands) join(o *bands) {
	b.err, b.sd = append(b.err, o.err...), append(b.sd, o.sd...)
	b.batches++
}

func (b *bands) of(what, told, unit string, scale float64) Bands {
	n := float64(max(1, len(b.err)))
	out := Bands{What: what, Told: told, N: b.batches, Unit: unit}
	var abs []float64
	for i, e := range b.err {
		e = math.Abs(e)
		abs = append(abs, scale*e)
		out.Rms += e * e / n
		out.Stated += b.sd[i] * b.sd[i] / n
		if e <= b.sd[i] {
			out.In68 += 1 / n
		}
		if e <= 1.96*b.sd[i] {
			out.In95 += 1 / n
		}
	}
	out.Rms, out.Stated = scale*math.Sqrt(out.Rms), scale*math.Sqrt(out.Stated)
	out.Ninety5, out.Worst = quantile(abs, 0.95), quantile(abs, 1)
	return out
}
