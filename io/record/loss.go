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
