package journal_test

import (
	"context"
	"path/filepath"
	"testing"

	"drumwright/io/journal"
	"drumwright/io/journal/journaltest"
	"drumwright/io/record"
)

func BenchmarkTenYears(b *testing.B) {
	path := filepath.Join(b.TempDir(), "journal.db")
	bareB := journaltest.TenYears(b, path)
	r, err := journal.OpenReader(path)
	if err != nil {
		b.Fatal(err)
	}
	defer r.Close()
	for _, x := range []struct {
		name string
		want record.Search
		rows int
	}{
		{"newest 50", record.Search{Limit: 50}, 50},
		{"page in the middle", record.Search{Before: 10000, Limit: 50}, 50},
		{"a lot", record.Search{Lot: "lot 200"}, 60},
		{"a rare tag", record.Search{Tag: "sample", Limit: 50}, 50},
		{"a recipe, 500", record.Search{Recipe: "recipe-7", Limit: 500}, 500},
		{"text of one note", record.Search{Text: "jasmine 123", Limit: 50}, 50},
		{"text of all notes", record.Search{Text: "JASMINE", Limit: 50}, 50},
		{"two letters of none", record.Search{Text: "qx", Limit: 50}, 0},
		{"text of none", record.Search{Text: "no such thing", Limit: 50}, 0},
	} {
		b.Run(x.name, func(b *testing.B) {
			for b.Loop() {
				list, err := r.Batches(context.Background(), x.want)
				if err != nil || len(list) != x.rows {
					b.Fatal(len(list), err)
				}
			}
			b.ReportMetric(bareB, "file-B/batch")
		})
	}
}
