package main

import (
	"slices"
	"strconv"

	"drumwright/io/record"
	"drumwright/io/report"
)

// sums are masses and energy of batches.
type sums struct {
	done, weighed                   int
	greenKg, weighedGreenKg         float64
	roastedKg, lossSum, kWh, kWhKgs float64
	lossN                           int
	estimatedKg                     float64 // roasted mass of those not weighed, by the estimated loss
	unknown                         int     // neither weighed nor estimated
}

func (s *sums) add(k *record.KeptBatch) {
	s.done++
	add := func(to *float64, v record.Number) {
		if v.Known() {
			*to += float64(v)
		}
	}
	add(&s.greenKg, k.ChargedKg())
	if k.WeighedKg.Known() {
		s.weighed++
		s.roastedKg += float64(k.WeighedKg)
		add(&s.weighedGreenKg, k.ChargedKg())
	} else if kg := k.EstimatedKg(); kg.Known() {
		s.estimatedKg += float64(kg)
	} else {
		s.unknown++
	}
	if v, _ := k.LossShare(); v.Known() {
		s.lossN++
		s.lossSum += float64(v)
	}
	if k.EnergyKWh.Known() && k.ChargedKg().Known() {
		s.kWh += float64(k.EnergyKWh)
		s.kWhKgs += float64(k.ChargedKg())
	}
}

func (s *sums) row(name string) []string {
	share := func(a, b float64, decimals int) string {
		if b == 0 {
			return "–"
		}
		return signless(a/b, decimals)
	}
	roasted := "–"
	if s.weighed > 0 {
		roasted = signless(s.roastedKg, 2)
	}
	all := "–"
	if s.unknown == 0 {
		all = signless(s.roastedKg+s.estimatedKg, 2)
		switch {
		case s.weighed == 0:
			all = "≈ " + all + ", estimated"
		case s.weighed < s.done:
			all = "≈ " + all + ", " + signless(s.estimatedKg, 2) + " of it estimated"
		}
	}
	return []string{name, strconv.Itoa(s.done), signless(s.greenKg, 2), strconv.Itoa(s.weighed), roasted, share(100*(s.weighedGreenKg-s.roastedKg), s.weighedGreenKg, 1),
		all, share(100*s.lossSum, float64(s.lossN), 1), signless(s.kWh, 1), share(s.kWh, s.kWhKgs, 3)}
}

// monthTable sums up by recipe.
func monthTable(rows []*record.KeptBatch) report.Table {
	t := report.Table{Head: []string{"recipe", "batches", "green kg", "weighed", "roasted kg of these", "loss of these, %", "roasted kg of all", "loss of all, some estimated, %", "kWh", "kWh/kg"}}
	var names []string
	by, total := map[string]*sums{}, &sums{}
	for _, k := range rows {
		if k.Result != record.BatchDone {
			continue
		}
		if by[k.Recipe] == nil {
			by[k.Recipe] = &sums{}
			names = append(names, k.Recipe)
		}
		by[k.Recipe].add(k)
		total.add(k)
	}
	slices.Sort(names)
	for _, n := range names {
		t.Rows = append(t.Rows, by[n].row(n))
	}
	if len(names) > 1 {
		t.Rows = append(t.Rows, total.row("all"))
	}
	return t
}
