package journal

import (
	"strings"
	"time"

	"github.com/ncruces/go-sqlite3"

	"drumwright/io/point"
	"drumwright/io/record"
)

// numbers are the sample columns that hold one known or unknown number each.
var numbers = []struct {
	column string
	of     func(*record.KeptSample) *record.Number
}{
	{"scan_s", func(k *record.KeptSample) *record.Number { return &k.ScanS }},
	{"since_charge_s", func(k *record.KeptSample) *record.Number { return &k.SinceChargeS }},
	{"target_c", func(k *record.KeptSample) *record.Number { return &k.TargetC }},
	{"true_c", func(k *record.KeptSample) *record.Number { return &k.TrueC }},
	{"true_sd_c", func(k *record.KeptSample) *record.Number { return &k.TrueSdC }},
	{"rate_k_per_s", func(k *record.KeptSample) *record.Number { return &k.RateKPerS }},
	{"rate_sd_k_per_s", func(k *record.KeptSample) *record.Number { return &k.RateSdKPerS }},
	{"moisture_dry_basis", func(k *record.KeptSample) *record.Number { return &k.MoistureDB }},
	{"loss", func(k *record.KeptSample) *record.Number { return &k.Loss }},
	{"loss_sd", func(k *record.KeptSample) *record.Number { return &k.LossSd }},
	{"heat_factor", func(k *record.KeptSample) *record.Number { return &k.HeatFactor }},
	{"air_set_c", func(k *record.KeptSample) *record.Number { return &k.AirSetC }},
	{"air_duty", func(k *record.KeptSample) *record.Number { return &k.AirDuty }},
	{"air_permit", func(k *record.KeptSample) *record.Number { return &k.AirPermit }},
	{"base_set_c", func(k *record.KeptSample) *record.Number { return &k.BaseSetC }},
	{"base_duty", func(k *record.KeptSample) *record.Number { return &k.BaseDuty }},
	{"base_permit", func(k *record.KeptSample) *record.Number { return &k.BasePermit }},
	{"drum_set_mm_per_s", func(k *record.KeptSample) *record.Number { return &k.DrumSetMMPerS }},
	{"drum_mm_per_s", func(k *record.KeptSample) *record.Number { return &k.DrumMMPerS }},
	{"flow_set_kg_per_h", func(k *record.KeptSample) *record.Number { return &k.FlowSetKgPerH }},
	{"flow_kg_per_h", func(k *record.KeptSample) *record.Number { return &k.FlowKgPerH }},
	{"air_heater_current_a", func(k *record.KeptSample) *record.Number { return &k.AirCurrentA }},
	{"radiant_current_a", func(k *record.KeptSample) *record.Number { return &k.BaseCurrentA }},
	{"mains_v", func(k *record.KeptSample) *record.Number { return &k.MainsV }},
}

// words are the remaining sample columns that are read back.
var words = []string{"at_ms", "state", "stage", "heat_permitted", "air_mode", "base_mode"}

// temperatures are the points with a value and a quality column.
var temperatures = func() (names []string) {
	for i := range point.NumInputs {
		if i.Role().Kind == point.Temperature {
			names = append(names, i.String())
		}
	}
	return names
}()

// sampleColumns lists the columns in the order in which they are read and, after
// run, scan and batch, written.
var sampleColumns = func() (c []string) {
	c = append(c, words...)
	for _, n := range numbers {
		c = append(c, n.column)
	}
	for _, t := range temperatures {
		c = append(c, t+"_c", t+"_quality")
	}
	return c
}()

var (
	insertSample = `INSERT INTO samples (run, scan, batch, ` + strings.Join(sampleColumns, ", ") +
		`) VALUES (?, ?, ?` + strings.Repeat(", ?", len(sampleColumns)) + `)`
	selectSamples = `SELECT ` + strings.Join(sampleColumns, ", ") +
		` FROM samples WHERE batch = ? ORDER BY run, scan`
	selectBefore = `SELECT ` + strings.Join(sampleColumns, ", ") + ` FROM samples WHERE batch IS NULL
		AND run = (SELECT min(run) FROM samples WHERE batch = ?)
		AND scan < (SELECT min(scan) FROM samples WHERE batch = ?)
		AND scan_s >= (SELECT min(scan_s) FROM samples WHERE batch = ?) - ? ORDER BY scan`
)

func bindSample(s *sqlite3.Stmt, runID int64, r *row) error {
	k := r.sample
	if err := bind(s, runID, r.scan, orNull(r.batch), r.unixNano/1e6, k.State, k.Stage, k.HeatPermitted, k.AirMode, k.BaseMode); err != nil {
		return err
	}
	at := 3 + len(words)
	for _, n := range numbers {
		at++
		if err := bindNumber(s, at, *n.of(k)); err != nil {
			return err
		}
	}
	for _, t := range temperatures {
		v, ok := k.Temperatures[t]
		at += 2
		if !ok {
			if err := s.BindNull(at - 1); err != nil {
				return err
			}
			if err := s.BindNull(at); err != nil {
				return err
			}
			continue
		}
		if err := bindNumber(s, at-1, v.Value); err != nil {
			return err
		}
		if err := s.BindText(at, v.Quality); err != nil {
			return err
		}
	}
	return nil
}

func readSample(s *sqlite3.Stmt) record.KeptSample {
	k := record.KeptSample{Time: record.TimeString(s.ColumnInt64(0) * int64(time.Millisecond)), State: s.ColumnText(1),
		Stage: s.ColumnInt(2), HeatPermitted: s.ColumnBool(3), AirMode: s.ColumnText(4), BaseMode: s.ColumnText(5),
		Temperatures: make(map[string]record.KeptValue)}
	at := len(words)
	for _, n := range numbers {
		*n.of(&k) = columnNumber(s, at)
		at++
	}
	for _, t := range temperatures {
		if s.ColumnType(at+1) != sqlite3.NULL {
			k.Temperatures[t] = record.KeptValue{Value: columnNumber(s, at), Quality: s.ColumnText(at + 1)}
		}
		at += 2
	}
	return k
}
