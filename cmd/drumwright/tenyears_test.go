package main

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"testing"

	"drumwright/io/journal"
	"drumwright/io/journal/journaltest"
)

// What the page asks for in a shop after ten years, from the journal to the whole
// sheet.
func BenchmarkTenYears(b *testing.B) {
	path := filepath.Join(b.TempDir(), "journal.db")
	journaltest.TenYears(b, path)
	r, err := journal.OpenReader(path)
	if err != nil {
		b.Fatal(err)
	}
	defer r.Close()
	var twelve []string
	for n := range mostCompared {
		twelve = append(twelve, fmt.Sprint(journaltest.Batches-1-n*7))
	}
	p, ctx := pageReports{r}, context.Background()
	for _, x := range []struct {
		name string
		make func() error
	}{
		{"compare 2", func() error { return p.Compare(ctx, strings.Join(twelve[:2], ","), "charge", io.Discard) }},
		{"compare 12", func() error { return p.Compare(ctx, strings.Join(twelve, ","), "charge", io.Discard) }},
		{"compare 12 at first crack", func() error { return p.Compare(ctx, strings.Join(twelve, ","), "first-crack", io.Discard) }},
		{"a batch", func() error { return p.Batch(ctx, journaltest.Batches-1, io.Discard) }},
		{"a lot", func() error { return p.Lot(ctx, "lot 200", io.Discard) }},
		{"a month", func() error { return p.Month(ctx, "2030-01", io.Discard) }},
	} {
		b.Run(x.name, func(b *testing.B) {
			for b.Loop() {
				if err := x.make(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
