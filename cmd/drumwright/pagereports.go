package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"drumwright/io/journal"
	"drumwright/io/panel"
	"drumwright/io/record"
)

// pageReports writes for the panel what the commands report and export write.
type pageReports struct{ r *journal.Reader }

// asAsked turns what a command calls wrong input into what the panel does.
func asAsked(err error) error {
	var e exitError
	if errors.As(err, &e) && e.code == codeInput {
		return fmt.Errorf("%w: %w", panel.ErrAsked, err)
	}
	return err
}

func (p pageReports) Batch(ctx context.Context, id uint64, w io.Writer) error {
	return asAsked(reportBatch(ctx, p.r, id, w))
}

func (p pageReports) Compare(ctx context.Context, batches, at string, w io.Writer) error {
	return asAsked(reportComparison(ctx, p.r, batches, at, w))
}

func (p pageReports) Lot(ctx context.Context, name string, w io.Writer) error {
	return asAsked(reportLot(ctx, p.r, name, w))
}

func (p pageReports) Month(ctx context.Context, month string, w io.Writer) error {
	return asAsked(reportMonth(ctx, p.r, month, w))
}

func (p pageReports) CSV(ctx context.Context, from, to time.Time, w io.Writer) error {
	list, err := p.r.Batches(ctx, record.Search{From: from, To: to})
	if err != nil {
		return err
	}
	slices.Reverse(list)
	out := newTable(w, "csv", batchExport)
	for i := range list {
		if err := out.row(&list[i]); err != nil {
			return err
		}
	}
	return out.end()
}
