package main

import (
	"context"
	"fmt"
	"io"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"drumwright/io/journal"
	"drumwright/io/record"
)

type auditOptions struct {
	journal, from, to string
	want              record.AuditSearch
	asJSON, columns   bool
}

// auditColumns explains the columns of the audit log, as the JSON names them.
var auditColumns = [][2]string{
	{"n", "number of the row; none is ever missing, changed or deleted"},
	{"when", "UTC"},
	{"account", "who was signed in, empty = nobody"},
	{"role", "that the request had: look, operate or engineer, empty = none"},
	{"who", "the name that the request itself gave; nobody has checked it"},
	{"source", "address it came from, socket, command line or unknown"},
	{"local", "it was made at the machine"},
	{"action", "the command, or method and path of what else was asked"},
	{"detail", "what was asked, as it was sent, up to 500 bytes; never a password"},
	{"accepted", "it was done"},
	{"reason", "what was done, or why not"},
}

func auditCommand() *cobra.Command {
	var o auditOptions
	c := &cobra.Command{
		Use:   "audit",
		Short: "Show who asked what of the machine, from where, and what became of it",
		Long: `audit lists every command and change that was asked for over the network interface
or made with drumwright user, newest first, also those that were refused. What is
refused to strangers is written down thirty times a minute at most; what was left
out is counted in the next row. --columns explains the columns.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return audit(cmd.Context(), &o, cmd.OutOrStdout()) },
	}
	f := c.Flags()
	f.StringVar(&o.journal, "journal", "drumwright.db", "journal file")
	f.BoolVar(&o.asJSON, "json", false, "print JSON on standard output")
	f.BoolVar(&o.columns, "columns", false, "explain the columns and end")
	f.StringVar(&o.from, "from", "", "on this day or later, such as 2026-11-25")
	f.StringVar(&o.to, "to", "", "on this day or earlier")
	f.BoolVar(&o.want.Refused, "refused", false, "only what was refused")
	f.IntVar(&o.want.Limit, "limit", 50, "at most so many; 0 = all")
	return c
}

func audit(ctx context.Context, o *auditOptions, w io.Writer) (err error) {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	if o.columns {
		for _, c := range auditColumns {
			fmt.Fprintf(t, "%s\t%s\n", c[0], c[1])
		}
		return t.Flush()
	}
	if o.want.From, o.want.To, err = dayRange(o.from, o.to); err != nil {
		return err
	}
	r, err := journal.OpenReader(o.journal)
	if err != nil {
		return err
	}
	defer r.Close()
	list, err := r.Audits(ctx, o.want)
	if err != nil {
		return err
	}
	if o.asJSON {
		return printJSON(w, map[string]any{"audit": list})
	}
	if len(list) == 0 {
		fmt.Fprintln(w, "Nothing of the kind is in the audit log.")
		return nil
	}
	fmt.Fprintln(t, "when\twho\trole\tfrom\taction\tdone\treason")
	for i := range list {
		a := &list[i]
		who, done := a.Account, "yes"
		if who == "" && a.Who != "" {
			who = a.Who + " (not signed in)"
		}
		if !a.Accepted {
			done = "NO"
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", a.When.Local().Format("2006-01-02 15:04:05"), orDash(who), orDash(a.Role), a.Source, short(a.Action, 40), done, short(a.Reason, 70))
	}
	return t.Flush()
}
