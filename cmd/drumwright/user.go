package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/user"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"drumwright/io/access"
	"drumwright/io/journal"
	"drumwright/io/record"
)

type userOptions struct {
	journal, role, passwordFile string
	asJSON                      bool
}

func userCommand() *cobra.Command {
	var o userOptions
	c := &cobra.Command{
		Use:   "user",
		Short: "Say who may sign in at the page, with which role",
		Long: `user keeps the accounts with which people sign in at the operator page. They stand
in a file beside the journal that only its owner may read, the passwords hashed.
Without any account nobody at the machine is asked for a password.

Roles: look sees everything; operate also roasts, and enters what is known of
batches; engineer also leads loops by hand, makes experiments and proof tests,
changes what is learned and reads who did what. Holding, dropping, stopping,
acknowledging and the fire screen need no account at the machine, ever.

A running daemon takes every change up at once: whoever gets another password,
or is removed, is signed out. Changes are noted in the audit log.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return listUsers(&o, cmd.OutOrStdout()) },
	}
	c.PersistentFlags().StringVar(&o.journal, "journal", "drumwright.db", "journal file")
	c.Flags().BoolVar(&o.asJSON, "json", false, "print JSON on standard output")
	add := &cobra.Command{Use: "add NAME", Short: "Add an account", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			role, err := record.ParseRole(o.role)
			if err != nil {
				return exitError{codeInput, err}
			}
			return o.change(cmd, "add", args[0], o.role, true, func(list []access.Account, at int, password string) ([]access.Account, error) {
				if at >= 0 {
					return nil, fmt.Errorf("there is an account %s already: change it with drumwright user password or role", args[0])
				}
				a, err := access.New(args[0], role, password, time.Now())
				return append(list, a), err
			})
		}}
	password := &cobra.Command{Use: "password NAME", Short: "Give an account another password", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return o.change(cmd, "password", args[0], "", true, func(list []access.Account, at int, password string) ([]access.Account, error) {
				if at < 0 {
					return nil, noUser(args[0])
				}
				a, err := access.New(args[0], list[at].Role, password, time.Now())
				list[at] = a
				return list, err
			})
		}}
	role := &cobra.Command{Use: "role NAME ROLE", Short: "Give an account another role: look, operate or engineer", Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			to, err := record.ParseRole(args[1])
			if err != nil {
				return exitError{codeInput, err}
			}
			return o.change(cmd, "role", args[0], args[1], false, func(list []access.Account, at int, _ string) ([]access.Account, error) {
				if at < 0 {
					return nil, noUser(args[0])
				}
				list[at].Role = to
				return list, nil
			})
		}}
	remove := &cobra.Command{Use: "remove NAME", Short: "Remove an account", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return o.change(cmd, "remove", args[0], "", false, func(list []access.Account, at int, _ string) ([]access.Account, error) {
				if at < 0 {
					return nil, noUser(args[0])
				}
				return slices.Delete(list, at, at+1), nil
			})
		}}
	add.Flags().StringVar(&o.role, "role", "operate", "look, operate or engineer")
	for _, sub := range []*cobra.Command{add, password} {
		sub.Flags().StringVar(&o.passwordFile, "password-file", "", "read the password from the first line of a file, - is standard input; left out = ask")
	}
	c.AddCommand(add, password, role, remove)
	return c
}

func noUser(name string) error {
	return fmt.Errorf("there is no account %s: drumwright user lists them", name)
}

// change changes one account and notes it. at is where it stands, -1 = nowhere.
func (o *userOptions) change(cmd *cobra.Command, what, name, detail string, needsPassword bool, edit func(list []access.Account, at int, password string) ([]access.Account, error)) error {
	if err := access.CheckName(name); err != nil {
		return exitError{codeInput, err}
	}
	password := ""
	if needsPassword {
		var err error
		if password, err = newPassword(cmd, o.passwordFile, name); err != nil {
			return exitError{codeInput, err}
		}
	}
	var left []access.Account
	err := access.Edit(access.FileOf(o.journal), func(list []access.Account) ([]access.Account, error) {
		at := slices.IndexFunc(list, func(a access.Account) bool { return a.Name == name })
		var err error
		left, err = edit(list, at, password)
		return left, err
	})
	if err != nil {
		return err
	}
	a := record.Audit{When: time.Now(), Source: "command line", Local: true, Action: "user " + what, Detail: strings.TrimSpace(name + " " + detail), Accepted: true, Reason: "done"}
	if u, err := user.Current(); err == nil {
		a.Who = u.Username
	}
	out := cmd.OutOrStdout()
	err = journal.AddAudit(o.journal, a)
	noJournal := errors.Is(err, fs.ErrNotExist)
	if err != nil && !noJournal {
		return fmt.Errorf("done, but not noted in the audit log: %w", err)
	}
	fmt.Fprintf(out, "Done. %s.\n", access.Describe(left))
	if len(left) > 0 && !slices.ContainsFunc(left, func(a access.Account) bool { return a.Role == record.RoleEngineer }) {
		fmt.Fprintln(out, "Nobody has the role engineer: loops by hand, proof tests and what is learned can be reached over the local socket only.")
	}
	if noJournal {
		fmt.Fprintf(cmd.ErrOrStderr(), "There is no journal %s yet, so this is not in its audit log.\n", o.journal)
	}
	return nil
}

func listUsers(o *userOptions, w io.Writer) error {
	list, err := access.Read(access.FileOf(o.journal))
	if err != nil {
		return err
	}
	if o.asJSON {
		rows := []map[string]any{}
		for _, a := range list {
			rows = append(rows, map[string]any{"account": a.Name, "role": a.Role, "since": a.Since})
		}
		return printJSON(w, map[string]any{"accounts": rows})
	}
	if len(list) == 0 {
		printWrapped(w, "", upperFirst(access.Describe(list))+". drumwright user add NAME --role ROLE makes one.")
		return nil
	}
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "account\trole\tpassword since")
	for _, a := range list {
		fmt.Fprintf(t, "%s\t%s\t%s\n", a.Name, a.Role, a.Since.Local().Format("2006-01-02 15:04"))
	}
	return t.Flush()
}

func upperFirst(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// newPassword reads a new password from a file, or twice from the person.
func newPassword(cmd *cobra.Command, file, account string) (string, error) {
	check := func(p string) (string, error) { return p, access.CheckPassword(account, p) }
	switch file {
	case "":
	case "-":
		p, err := firstLine(cmd.InOrStdin())
		if err != nil {
			return "", err
		}
		return check(p)
	default:
		f, err := os.Open(file)
		if err != nil {
			return "", err
		}
		defer f.Close()
		p, err := firstLine(f)
		if err != nil {
			return "", err
		}
		return check(p)
	}
	p, err := readSecret("Password for " + account + ": ")
	if err != nil {
		return "", err
	}
	if _, err := check(p); err != nil {
		return "", err
	}
	again, err := readSecret("Once more: ")
	if err == nil && again != p {
		err = errors.New("the two passwords are not the same: nothing is changed")
	}
	return p, err
}
