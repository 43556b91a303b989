package record

import (
	"fmt"
	"strconv"
	"time"
)

// GreenAhead is what a person says of the green coffee before it is charged. It
// is entered into the next batch of the same recipe: the coffee of another
// recipe is another coffee.
type GreenAhead struct {
	Recipe       string `json:"recipe"` // loaded when it was said; not given by the person
	Lot          string `json:"lot"`
	MoisturePct  Number `json:"moisture_pct"`
	DensityGPerL Number `json:"density_g_per_l"`
	ChargeG      Number `json:"charge_g"` // what the scale said; of one batch only
	Who          string `json:"who"`      // "" = nothing is said
}

// Entries are the entries that it makes in a batch.
func (n *GreenAhead) Entries(batch uint64, when time.Time) []Entry {
	var list []Entry
	add := func(field, value string) {
		if value != "" {
			list = append(list, Entry{Batch: batch, Field: field, When: when, Who: n.Who, After: value})
		}
	}
	number := func(field string, v Number) {
		if v.Known() {
			add(field, strconv.FormatFloat(float64(v), 'f', -1, 64))
		}
	}
	add(FieldLot, n.Lot)
	number(FieldMoisture, n.MoisturePct)
	number(FieldDensity, n.DensityGPerL)
	number(FieldCharge, n.ChargeG)
	return list
}

// Check refuses what could not be entered into a batch; the error wraps ErrEntry.
func (n *GreenAhead) Check() error {
	list := n.Entries(1, time.Time{})
	if len(list) == 0 {
		return fmt.Errorf("%w: nothing is said of the next batch: give lot, moisture_pct, density_g_per_l or charge_g", ErrEntry)
	}
	for i := range list {
		if err := list[i].Check(); err != nil {
			return err
		}
	}
	return nil
}
