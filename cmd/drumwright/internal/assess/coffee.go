package assess

import (
	"math"
	"math/rand/v2"
	"slices"

	"drumwright/control/bean"
)

// Coffees are roasted coffeeBatches times each: the last batch has three weighed
// ones before it. Their seeds begin at coffeeSeed; nothing was tuned on them.
const (
	coffeeBatches = 4
	coffeeCases   = 20
	coffeeSeed    = 501
	// What differs from batch to batch of a coffee: the moisture reading's error,
	// the lot's moisture, and where it cracks.
	moistureReadBy = 0.003 // up to, wet basis
	moistureLotBy  = 0.001 // up to, wet basis
	crackSpreadK   = 0.5   // sd, of the true bean temperature at first crack
	aheadS         = 60.0  // of first crack, where its prediction is judged
)

// CoffeeBatch is one batch of a coffee. Losses are shares of the green mass.
type CoffeeBatch struct {
	LossError  float64 `json:"loss_error"` // estimated less true at the planned drop
	LossSd     float64 `json:"loss_sd"`    // as stated then
	CrackOffS  float64 `json:"crack_off_s"`
	CrackSdS   float64 `json:"crack_sd_s"`  // as stated a minute before
	CrackKnown bool    `json:"crack_known"` // a prediction was made a minute before
	RmsC       float64 `json:"rms_c"`
}

// CoffeeRow is one coffee on one machine, batch after batch.
type CoffeeRow struct {
	Size     string        `json:"size"`
	Seed     uint64        `json:"seed"`
	Measured bool          `json:"measured"` // its moisture was measured to 0.3 points; else not known to 2
	Batches  []CoffeeBatch `json:"batches"`
}

// coffee roasts one coffee several times: batch weighed in, gas share known,
// kinetics and all the rest as drawn from the seed, weighed after each batch.
func coffee(s Size, seed uint64, measured bool) (*CoffeeRow, error) {
	r := rand.New(rand.NewPCG(seed, 0x636f66666565))
	span := func(w float64) float64 { return w * (2*r.Float64() - 1) }
	off := drawn(seed)
	off.MainsFrac = span(0.03)
	crackC := 198 + 4*r.NormFloat64()
	c := Cell{Size: s, Curve: &curves[seed%uint64(len(curves))], Group: Random}
	p := newPupil(s, c.Curve)
	p.lessons.Recipe = s.recipe(c.Curve).Name
	row := &CoffeeRow{Size: s.Name, Seed: seed, Measured: measured}
	for i := range coffeeBatches {
		c.Off, c.Seed = off, seed+1000*uint64(i)
		c.Off.MoistureWBAdd += span(moistureLotBy)
		c.Told = &Knowledge{Mass: true, GasShare: true, Moisture: measured, MoistureBy: span(moistureReadBy)}
		c.Crack = crackC + crackSpreadK*r.NormFloat64()
		c.Lessons = p.now()
		t, err := roast(&c, false, p.seeAll)
		if err != nil {
			return nil, err
		}
		if t.brokenOffBy != "" {
			return row, nil
		}
		b := CoffeeBatch{LossError: t.lossErr, LossSd: t.lossSd, RmsC: t.figures().RmsC}
		if at, _ := slices.BinarySearch(t.sinceS, t.crackS-aheadS); t.crackS > 0 && at < len(t.dueS) && t.dueS[at] > 0 {
			b.CrackKnown, b.CrackOffS, b.CrackSdS = true, t.dueS[at]-t.crackS, t.dueSdS[at]
		}
		row.Batches = append(row.Batches, b)
		green, told := p.last.GreenKg, usualMoisture
		if measured {
			told += c.Off.MoistureWBAdd + c.Told.MoistureBy
		}
		seen := p.last.Seen(c.Lessons, bean.MoistureDryBasis(told), measured)
		p.lessons.Coffee = p.lessons.Coffee.After(green, green*(1-t.lossTrue+span(0.001)), seen)
		if t.crackS > 0 {
			p.lessons.Coffee = p.lessons.Coffee.Heard(p.last.CrackBeanC, p.last.CrackLateS)
		}
	}
	return row, nil
}

// Bands says how an estimate keeps to what it states of itself.
type Bands struct {
	What    string  `json:"what"`
	Told    string  `json:"told"` // what the controller was told
	N       int     `json:"n"`
	Rms     float64 `json:"rms"`
	Ninety5 float64 `json:"abs_95"`
	Worst   float64 `json:"abs_worst"`
	Stated  float64 `json:"stated_sd_rms"`
	In68    float64 `json:"within_1_sd"`
	In95    float64 `json:"within_1_96_sd"`
	Unit    string  `json:"unit"`
}

// bands gathers errors with their stated sd.
type bands struct{ err, sd []float64 }

func (b *bands) add(err, sd float64) {
	b.err, b.sd = append(b.err, err), append(b.sd, sd)
}

func (b *bands) of(what, told, unit string, scale float64) Bands {
	n := float64(max(1, len(b.err)))
	out := Bands{What: what, Told: told, N: len(b.err), Unit: unit}
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
