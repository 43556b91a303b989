package record

// development is the time from first crack to the end and its share of the whole
// roast; unknown while either is not known. endS is the drop, or now in a roast
// that goes on.
func development(crackS, endS Number) (s, ratio Number) {
	if !crackS.Known() || !endS.Known() || !(crackS > 0) || !(endS >= crackS) {
		return Unknown, Unknown
	}
	return endS - crackS, (endS - crackS) / endS
}

// Derive fills in what follows from the rest of a kept batch.
func (k *KeptBatch) Derive() {
	k.DevelopmentS, k.DevelopmentRatio = development(k.FirstCrackS, k.DropS)
	k.WeighedLoss = Unknown
	if k.WeighedGreenKg > 0 && k.WeighedKg.Known() {
		k.WeighedLoss = 1 - k.WeighedKg/k.WeighedGreenKg
	}
}

// endS is the end of a roast so far.
func endS(b *Batch) Number {
	if b.DropS > 0 {
		return Number(b.DropS)
	}
	return Number(b.SinceS)
}
