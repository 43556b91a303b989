package assess

import (
	"fmt"
	"io"
	"text/tabwriter"
)

// PrintStudy writes the tables of a study and its goals for people.
func PrintStudy(w io.Writer, st *Study) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, r := range st.Repeats {
		fmt.Fprintf(t, "%s\t%s\t%s\t", r.Size, r.Curve, r.Name)
		for _, x := range r.RmsC {
			fmt.Fprintf(t, "%.2f\t", x)
		}
		if !r.InReach {
			fmt.Fprint(t, "out of reach")
		}
		fmt.Fprintln(t, "\t")
	}
	for _, m := range st.Moves {
		fmt.Fprintf(t, "%s\t%s\tunlearned %.2f °C\tlearned %.2f °C\t\n", m.Size, m.Name, m.WithoutC, m.WithC)
	}
	for _, r := range st.Rows {
		fmt.Fprintf(t, "%s\tseed %d\tsd of drop %.2f °C\tof time %.1f s\tof loss %.2f points\t\n", r.Size, r.Seed, r.DropSdC, r.TimeSdS, 100*r.LossSd)
	}
	for _, b := range st.Bands {
		fmt.Fprintf(t, "%s\t%s\t%d\trms %.2f %s\t95 %% %.2f\tstated %.2f\twithin 1 sd %.0f %%\twithin 1.96 sd %.0f %%\t\n", b.What, b.Told, b.N, b.Rms, b.Unit, b.Ninety5, b.Stated, 100*b.In68, 100*b.In95)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(w)
	printGoals(w, st.Goals)
	return nil
}
