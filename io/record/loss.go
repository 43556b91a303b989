package record

// ChargedKg is the green mass: as weighed, else as the recipe says.
func (k *KeptBatch) ChargedKg() Number {
	if k.WeighedGreenKg.Known() {
		return k.WeighedGreenKg
	}
	return k.GreenKg
}

// LossShare is the loss by the scale or, where it was not weighed, as estimated
// at the drop.
func (k *KeptBatch) LossShare() (share Number, weighed bool) {
	if k.WeighedLoss.Known() {
		return k.WeighedLoss, true
	}
	return k.LossAtDrop, false
}

// EstimatedKg is what the beans of a batch that was not weighed should weigh
// roasted: the green mass less the loss estimated at the drop.
func (k *KeptBatch) EstimatedKg() Number {
	if green := k.ChargedKg(); green.Known() && k.LossAtDrop.Known() {
		return green * (1 - k.LossAtDrop)
	}
	return Unknown
}
