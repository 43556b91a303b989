package main

import (
	"context"
	"fmt"
	"log/slog"

	"github.com/spf13/cobra"

	"drumwright/io/journal"
)

func backupCommand() *cobra.Command {
	path := "drumwright.db"
	c := &cobra.Command{
		Use:   "backup FILE",
		Short: "Copy the journal into one file, also while the daemon runs",
		Long: `backup copies the journal as it is at one moment into FILE, checks the copy, and
notes in the journal up to which batch there is a backup. FILE must not exist.
Keep it on another disk than the journal, and another building too. A machine file
with telemetry.journal_limit (MiB) lets samples of old batches make room, but only of
batches that were backed up.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			last, err := journal.Backup(cmd.Context(), path, args[0])
			if err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "%s holds the journal up to batch %d and was checked: it is whole.\n", args[0], last)
			return nil
		},
	}
	c.Flags().StringVar(&path, "journal", path, "journal file")
	return c
}

func restoreCommand() *cobra.Command {
	path := "drumwright.db"
	c := &cobra.Command{
		Use:   "restore FILE",
		Short: "Put a backup in the place of the journal",
		Long: `restore checks the backup FILE and puts a copy of it in the place of the journal.
The journal that was there is kept beside it under another name, never
overwritten. The daemon must be stopped. What is latched stays as it is now; where
that cannot be read, a named person must look at the machine and reset before heat
is used. A backup that an older program made is brought up to date when the daemon
starts.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			aside, err := journal.Restore(cmd.Context(), args[0], path, lostName)
			if err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "%s is restored from %s.\n", path, args[0])
			if aside != "" {
				fmt.Fprintf(cmd.OutOrStdout(), "What was there before is kept as %s.\n", aside)
			}
			return nil
		},
	}
	c.Flags().StringVar(&path, "journal", path, "journal file")
	return c
}

// checkJournal looks for damage while the machine is already served: on an SD
// card that takes its time.
func checkJournal(ctx context.Context, path string, log *slog.Logger) {
	switch err := journal.QuickCheck(ctx, path); {
	case ctx.Err() != nil:
	case err != nil:
		log.Error("the journal is damaged: new batches may be lost. Save what can be read with drumwright backup, then stop and restore the last good backup, on another card or disk",
			"journal", path, "err", err)
	default:
		log.Debug("the journal was looked over: whole", "journal", path)
	}
}
