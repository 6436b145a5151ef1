package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/goccy/go-yaml"
	"github.com/spf13/cobra"

	"coldweek/ingest"
	"coldweek/ingest/rig"
)

func newRig(a *app) *cobra.Command {
	c := group(&cobra.Command{
		Use:   "rig",
		Short: "Simulate a plant whose truth is known",
		Long: `A simulated house with its heat pump, for trying things out and for tests: its
readings as CSV, and what really happened as JSON.`,
	})
	c.AddCommand(newRigCSV(a), newRigTroubles(a))
	return c
}

// rigFlags choose a plant and what happens to it.
type rigFlags struct {
	house, from       string
	seed              uint64
	days              int
	every             time.Duration
	troubles          []string
	truthPath, record string
}

func newRigCSV(a *app) *cobra.Command {
	var f rigFlags
	var dest string
	c := &cobra.Command{
		Use:   "csv",
		Short: "Write a simulated plant's readings as CSV",
		Long: `Write the readings of a simulated plant as CSV, in the form that load reads.
The same flags give the same bytes. --house takes one of the demo's houses,
--seed draws a healthy plant. A trouble is KIND, KIND@DAY or KIND@DAY=SIZE,
where DAY counts from the start; rig troubles lists them.`,
		Example: `  coldweek rig csv --seed 7 --from 2026-01-01 --days 28 --truth truth.json --out plant-7.csv
  coldweek rig csv --house orchard-house --trouble flow_step@3`,
		Args: args(cobra.NoArgs),
		RunE: func(_ *cobra.Command, _ []string) (err error) {
			plant, from, err := f.plant()
			if err != nil {
				return err
			}
			out, closeOut, err := a.output(dest)
			if err != nil {
				return err
			}
			defer func() { err = errors.Join(err, closeOut()) }()
			bar := a.progress("days")
			r, err := playCSV(out, plant, from, f.days, bar)
			bar.done()
			if err != nil {
				return err
			}
			return a.writeTruth(f, r)
		},
	}
	c.Flags().StringVar(&f.house, "house", "", "one of the demo's houses by id; see the error for a wrong one")
	c.Flags().Uint64Var(&f.seed, "seed", 1, "draw a healthy plant by this number")
	c.Flags().StringVar(&f.from, "from", "2026-01-01", "first local day")
	c.Flags().IntVar(&f.days, "days", 28, "how many days")
	c.Flags().DurationVar(&f.every, "every", 0, "sampling interval; the plant's own when 0")
	c.Flags().StringArrayVar(&f.troubles, "trouble", nil, "what goes wrong; may be given several times")
	c.Flags().StringVar(&f.truthPath, "truth", "", "file for the truth, as JSON")
	c.Flags().StringVar(&f.record, "record", "", "file for the site record, as YAML")
	c.Flags().StringVarP(&dest, "out", "o", "", "file for the readings; standard output when not given")
	return c
}

// plant makes the plant the flags describe.
func (f rigFlags) plant() (rig.Plant, time.Time, error) {
	plant := rig.Random(f.seed)
	if f.house != "" {
		var err error
		if plant, err = houseByID(f.house); err != nil {
			return plant, time.Time{}, err
		}
	}
	if f.every > 0 {
		plant.Metering.Interval = f.every
	}
	zone, err := time.LoadLocation(plant.TimeZone)
	if err != nil {
		return plant, time.Time{}, err
	}
	from, err := time.ParseInLocation(time.DateOnly, f.from, zone)
	if err != nil {
		return plant, from, usagef("--from %q: write it as 2026-01-31", f.from)
	}
	if f.days < 1 {
		return plant, from, usagef("--days %d: at least 1", f.days)
	}
	for _, text := range f.troubles {
		trouble, err := parseTrouble(text, from)
		if err != nil {
			return plant, from, err
		}
		plant.Troubles = append(plant.Troubles, trouble)
	}
	return plant, from, nil
}

func houseByID(id string) (rig.Plant, error) {
	var ids []string
	for _, p := range rig.Houses() {
		if p.ID == id {
			return p, nil
		}
		ids = append(ids, p.ID)
	}
	return rig.Plant{}, usagef("house %q: one of %s", id, strings.Join(ids, ", "))
}

// parseTrouble reads KIND, KIND@DAY or KIND@DAY=SIZE.
func parseTrouble(text string, from time.Time) (rig.Trouble, error) {
	text, size, _ := strings.Cut(text, "=")
	name, day, _ := strings.Cut(text, "@")
	trouble := rig.Trouble{Kind: rig.Kind(name), At: from}
	if _, ok := trouble.Kind.Info(); !ok {
		names := make([]string, 0, len(rig.Kinds()))
		for _, k := range rig.Kinds() {
			names = append(names, string(k.Kind))
		}
		return trouble, usagef("trouble %q is not known; did you mean %q?", name, ingest.Nearest(name, names))
	}
	if day != "" {
		var days float64
		if _, err := fmt.Sscan(day, &days); err != nil {
			return trouble, usagef("trouble %q: the day %q is no number", text, day)
		}
		trouble.At = from.Add(time.Duration(days * 24 * float64(time.Hour)))
	}
	if size != "" {
		if _, err := fmt.Sscan(size, &trouble.Size); err != nil {
			return trouble, usagef("trouble %q: the size %q is no number", text, size)
		}
	}
	return trouble, nil
}

// playCSV runs a plant day by day.
func playCSV(out io.Writer, plant rig.Plant, from time.Time, days int, bar *progress) (*rig.Rig, error) {
	r, err := rig.New(plant, from)
	if err != nil {
		return nil, usageError{err}
	}
	table := rig.NewCSV(out, plant.Channels())
	for day := 1; day <= days; day++ {
		r.Advance(from.AddDate(0, 0, day), table.Add)
		bar.step(day, days)
	}
	return r, table.Flush()
}

// writeTruth writes what the flags ask for beside the readings.
func (a *app) writeTruth(f rigFlags, r *rig.Rig) error {
	write := func(path string, encode func() ([]byte, error)) error {
		if path == "" {
			return nil
		}
		text, err := encode()
		if err != nil {
			return fmt.Errorf("encode %q: %w", path, err)
		}
		out, closeOut, err := a.output(path)
		if err != nil {
			return err
		}
		_, err = out.Write(text)
		return errors.Join(err, closeOut())
	}
	return errors.Join(
		write(f.truthPath, func() ([]byte, error) { return json.MarshalIndent(r.Truth(), "", "  ") }),
		write(f.record, func() ([]byte, error) { return yaml.Marshal(r.Plant().Record()) }),
	)
}

func newRigTroubles(a *app) *cobra.Command {
	return &cobra.Command{
		Use:     "troubles",
		Short:   "List what can go wrong with a simulated plant",
		Example: "  coldweek rig troubles",
		Args:    args(cobra.NoArgs),
		RunE: func(*cobra.Command, []string) error {
			w := tabwriter.NewWriter(a.out, 0, 0, 2, ' ', 0)
			fmt.Fprintln(w, "kind\tusual size\tunit\twhat it does")
			for _, k := range rig.Kinds() {
				fmt.Fprintf(w, "%s\t%g\t%s\t%s\n", k.Kind, k.UsualSize, k.Unit, k.Doc)
			}
			return w.Flush()
		},
	}
}
