package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"drumwright/io/journal"
	"drumwright/io/record"
	"drumwright/profiles"
)

type recipeOptions struct {
	folder, machine, journal, who string
	from                          uint64
}

func recipeCommand() *cobra.Command {
	o := recipeOptions{folder: "recipes", journal: "drumwright.db"}
	c := &cobra.Command{
		Use:   "recipe",
		Short: "Look recipes over, make them of batches, copy them, list their versions",
		Long: `recipe works on the folder of recipes, with the daemon running or not. What it
writes is checked first. Each version stays in the folder .versions under the
SHA-256 of its contents, which every batch carries too.`,
	}
	c.PersistentFlags().StringVar(&o.folder, "folder", o.folder, "folder of recipes")
	c.PersistentFlags().StringVar(&o.machine, "machine", "", "machine file, or name of a shipped example, that recipes are to fit")
	lint := &cobra.Command{Use: "lint RECIPE...", Args: cobra.MinimumNArgs(1), Short: "Say what is wrong with recipes, and what is worth a thought",
		Long: `lint reads recipe files, or shipped examples by name, and prints every fault with
file and line, what was understood of temperatures written in °F, and advice on
what is allowed and yet unusual.`,
		RunE: func(cmd *cobra.Command, args []string) error { return lintRecipes(&o, args, cmd.OutOrStdout()) }}
	from := &cobra.Command{Use: "new NAME --from-batch N", Args: cobra.ExactArgs(1), Short: "Make a recipe that asks for what a batch was",
		RunE: func(cmd *cobra.Command, args []string) error {
			return recipeFromBatch(cmd.Context(), &o, args[0], cmd.OutOrStdout())
		}}
	from.Flags().Uint64Var(&o.from, "from-batch", 0, "number of the batch")
	from.Flags().StringVar(&o.journal, "journal", o.journal, "journal file")
	copied := &cobra.Command{Use: "copy RECIPE NAME", Args: cobra.ExactArgs(2), Short: "Copy a recipe under another name",
		RunE: func(cmd *cobra.Command, args []string) error {
			return copyRecipe(&o, args[0], args[1], cmd.OutOrStdout())
		}}
	for _, sub := range []*cobra.Command{from, copied} {
		sub.Flags().StringVar(&o.who, "who", "", "your name, kept with the version")
	}
	history := &cobra.Command{Use: "history NAME", Args: cobra.ExactArgs(1), Short: "List the versions of a recipe and the batches roasted by each",
		RunE: func(cmd *cobra.Command, args []string) error {
			return recipeHistory(cmd.Context(), &o, args[0], cmd.OutOrStdout())
		}}
	history.Flags().StringVar(&o.journal, "journal", o.journal, "journal file")
	c.AddCommand(lint, from, copied, history)
	return c
}

func (o *recipeOptions) open() (*recipeFolder, error) {
	f := &recipeFolder{dir: o.folder, now: time.Now}
	if o.machine != "" {
		m, err := machineFrom(o.machine)
		if err != nil {
			return nil, err
		}
		f.m = m
	}
	return f, nil
}

// recipeBytes is the text of a recipe: a shipped one, or a file.
func recipeBytes(name string) ([]byte, error) {
	if data, ok := profiles.Example("recipes/" + name + ".yaml"); ok {
		return data, nil
	}
	return os.ReadFile(name)
}

func lintRecipes(o *recipeOptions, names []string, w io.Writer) error {
	f, err := o.open()
	if err != nil {
		return err
	}
	bad := 0
	for _, name := range names {
		text, err := recipeBytes(name)
		if err != nil {
			return err
		}
		c := f.Check(strings.TrimSuffix(name, ".yaml"), text)
		for _, s := range c.Understood {
			fmt.Fprintf(w, "%s: %s\n", name, s)
		}
		for _, s := range c.Advice {
			fmt.Fprintf(w, "%s: %s\n", name, s)
		}
		switch {
		case c.Faults != "":
			bad++
			fmt.Fprintln(w, c.Faults)
		case len(c.Advice) == 0:
			fmt.Fprintf(w, "%s: no faults, no advice.\n", name)
		}
	}
	if bad > 0 {
		return exitError{codeInput, fmt.Errorf("%d of %d recipes have faults", bad, len(names))}
	}
	return nil
}

// keepRecipe writes a new recipe and says so.
func (o *recipeOptions) keepRecipe(name string, text []byte, w io.Writer) error {
	f, err := o.open()
	if err != nil {
		return err
	}
	c, err := f.Save(name, text, "", o.who)
	if errors.Is(err, record.ErrRecipe) {
		return exitError{codeInput, err}
	}
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "Written: %s\n", filepath.Join(o.folder, strings.TrimSuffix(name, ".yaml")+".yaml"))
	for _, s := range c.Advice {
		fmt.Fprintf(w, "%s\n", s)
	}
	return nil
}

func recipeFromBatch(ctx context.Context, o *recipeOptions, name string, w io.Writer) error {
	if o.from == 0 {
		return exitError{codeInput, errors.New("give the number of the batch: --from-batch 41")}
	}
	r, err := journal.OpenReader(o.journal)
	if err != nil {
		return err
	}
	defer r.Close()
	d, err := r.Batch(ctx, o.from)
	if err != nil {
		return fmt.Errorf("batch %d: %w", o.from, err)
	}
	text, err := draftOf(&d, strings.TrimSuffix(name, ".yaml"))
	if err != nil {
		return err
	}
	return o.keepRecipe(name, text, w)
}

func copyRecipe(o *recipeOptions, from, name string, w io.Writer) error {
	text, err := recipeBytes(from)
	if err != nil {
		if text, err = os.ReadFile(filepath.Join(o.folder, strings.TrimSuffix(from, ".yaml")+".yaml")); err != nil {
			return fmt.Errorf("recipe %q is no shipped one, no file, and not in %s", from, o.folder)
		}
	}
	if text, err = profiles.Renamed(text, strings.TrimSuffix(name, ".yaml")); err != nil {
		return err
	}
	return o.keepRecipe(name, text, w)
}

func recipeHistory(ctx context.Context, o *recipeOptions, name string, w io.Writer) error {
	f, err := o.open()
	if err != nil {
		return err
	}
	list, err := f.Versions(name)
	if err != nil {
		return exitError{codeInput, err}
	}
	path, err := f.path(name)
	if err != nil {
		return err
	}
	now, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	if n := len(list); n == 0 || list[n-1].Hash != contentHash(now) {
		list = append(list, record.RecipeVersion{Hash: contentHash(now)})
	}
	used := map[string][]string{}
	if r, err := journal.OpenReader(o.journal); err == nil {
		defer r.Close()
		batches, err := r.Batches(ctx, record.Search{})
		if err != nil {
			return err
		}
		for _, b := range slices.Backward(batches) {
			used[b.RecipeHash] = append(used[b.RecipeHash], fmt.Sprint(b.ID))
		}
	}
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "version\twhen\twho\tbatches")
	for _, v := range list {
		when, who := "in the folder now", "–"
		if !v.When.IsZero() {
			when = v.When.Local().Format("2006-01-02 15:04")
		}
		if v.Who != "" {
			who = v.Who
		}
		batches := "none"
		if b := used[v.Hash]; len(b) > 0 {
			batches = strings.Join(b, ", ")
			if len(b) > 6 {
				batches = fmt.Sprintf("%d, last %s", len(b), b[len(b)-1])
			}
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\n", v.Hash[:12], when, who, batches)
	}
	return t.Flush()
}
