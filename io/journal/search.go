package journal

import (
	"context"
	"math"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/ncruces/go-sqlite3"

	"drumwright/io/record"
)

// fact reads one fact of the batch of the row.
func fact(field, item string) string {
	return `(SELECT value FROM facts WHERE batch = b.id AND field = '` + field + `' AND item = '` + item + `')`
}

// weight reads the last weighing of the batch of the row.
func weight(column string) string {
	return `(SELECT ` + column + ` FROM weighings WHERE batch = b.id ORDER BY weighings.id DESC LIMIT 1)`
}

// batchColumns are read by readBatch, from batches b LEFT JOIN figures f.
var batchColumns = `b.id, result, recipe, recipe_hash, machine_hash, b.green_kg, charged, ended,
	turn_s, turn_c, first_crack_s, drop_s, drop_c, target_drop_c, loss_at_drop,
	(air_full_s * air_w + base_full_s * base_w) / 3.6e6, off_curve_rms_c, off_curve_most_c, ` +
	strings.Join([]string{fact(record.FieldLot, ""), fact(record.FieldMoisture, ""), fact(record.FieldDensity, ""), "coalesce(" + weight("green_kg") + ", CAST(" + fact(record.FieldCharge, "") + " AS REAL) / 1000)", weight("roasted_kg"),
		fact(record.FieldCup, "total"),
		`(SELECT group_concat(item, ',') FROM facts WHERE batch = b.id AND field = '` + record.FieldTag + `')`,
		`(SELECT count(*) FROM facts WHERE batch = b.id AND field = '` + record.FieldNote + `')`}, ", ")

const numBatchColumns = 26

const fromBatches = ` FROM batches b LEFT JOIN figures f ON f.batch = b.id `

func readBatch(s *sqlite3.Stmt) record.KeptBatch {
	k := record.KeptBatch{ID: uint64(s.ColumnInt64(0)), Result: s.ColumnText(1), Recipe: s.ColumnText(2), RecipeHash: s.ColumnText(3),
		MachineHash: s.ColumnText(4), GreenKg: columnNumber(s, 5), Charged: s.ColumnText(6), Ended: s.ColumnText(7),
		TurnS: columnNumber(s, 8), TurnC: columnNumber(s, 9), FirstCrackS: columnNumber(s, 10), DropS: columnNumber(s, 11),
		DropC: columnNumber(s, 12), TargetDropC: columnNumber(s, 13), LossAtDrop: columnNumber(s, 14),
		EnergyKWh: columnNumber(s, 15), OffCurveRmsC: columnNumber(s, 16), OffCurveMostC: columnNumber(s, 17),
		Lot: s.ColumnText(18), MoisturePct: columnNumber(s, 19), DensityGPerL: columnNumber(s, 20), WeighedGreenKg: columnNumber(s, 21),
		WeighedKg: columnNumber(s, 22), CupTotal: columnNumber(s, 23), Tags: []string{}, Notes: s.ColumnInt(25)}
	if tags := s.ColumnText(24); tags != "" {
		k.Tags = strings.Split(tags, ",")
	}
	k.Derive()
	return k
}

// leastIndexed is how many signs the index of words needs to find anything.
const leastIndexed = 3

// Batches lists the batches that are searched for, newest first.
func (r *Reader) Batches(ctx context.Context, want record.Search) ([]record.KeptBatch, error) {
	var where strings.Builder
	var args []any
	and := func(condition string, values ...any) {
		where.WriteString(" AND " + condition)
		args = append(args, values...)
	}
	if want.Before > 0 && want.Before <= math.MaxInt64 {
		and(`b.id < ?`, want.Before)
	}
	if !want.From.IsZero() {
		and(`charged >= ?`, timeText(want.From))
	}
	if !want.To.IsZero() {
		and(`charged < ?`, timeText(want.To))
	}
	if want.Result != "" {
		and(`result = ?`, want.Result)
	}
	if want.Recipe != "" {
		and(`recipe = ? COLLATE NOCASE`, want.Recipe)
	}
	if want.Lot != "" {
		and(`b.id IN (SELECT batch FROM facts WHERE field = 'lot' AND value = ? COLLATE NOCASE)`, want.Lot)
	}
	if want.Tag != "" {
		and(`b.id IN (SELECT batch FROM facts WHERE field = 'tag' AND item = ? COLLATE NOCASE)`, want.Tag)
	}
	switch {
	case want.Text == "":
	case utf8.RuneCountInString(want.Text) >= leastIndexed:
		and(`b.id IN (SELECT rowid FROM found WHERE found MATCH ?)`, `"`+strings.ReplaceAll(want.Text, `"`, `""`)+`"`)
	default:
		part := "%" + strings.NewReplacer(`\`, `\\`, `%`, `\%`, `_`, `\_`).Replace(want.Text) + "%"
		and(`(recipe LIKE ? ESCAPE '\' OR b.id IN (SELECT batch FROM facts WHERE field IN ('lot', 'note', 'cup_comments') AND value LIKE ? ESCAPE '\'
			UNION ALL SELECT batch FROM facts WHERE field = 'tag' AND item LIKE ? ESCAPE '\'))`, part, part, part)
	}
	limit := want.Limit
	if limit < 1 {
		limit = -1
	}
	list := []record.KeptBatch{}
	err := r.query(ctx, func(s *sqlite3.Stmt) { list = append(list, readBatch(s)) },
		`SELECT `+batchColumns+fromBatches+`WHERE true`+where.String()+` ORDER BY b.id DESC LIMIT ?`, append(args, limit)...)
	return list, err
}

// timeText writes a time as the journal does, so that texts compare as times.
func timeText(t time.Time) string { return record.TimeString(t.UnixNano()) }
