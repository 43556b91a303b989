package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"time"

	"drumwright/io/fieldbus"
	"drumwright/io/point"
	"drumwright/profiles"
)

// A probe has come to rest in its bath when it has stayed within restK for restS
// (common practice, no source); longestRest is how long that is waited for.
const (
	restK       = 0.15
	restS       = 15.0
	longestRest = 300.0
)

// baths are the words of --read and what the person then does.
var baths = map[string]string{
	"ice":  "into stirred melting ice of clean water, as deep as it will be in the drum",
	"boil": "into boiling water, off the bottom",
}

// readBaths has a person put a probe into one bath after the other, reads it there on
// its own bus and adds the readings to those that were given.
func (o *calibrateOptions) readBaths(ctx context.Context, m *profiles.Machine, item string, p *terminal) (err error) {
	i, ok := point.InputNamed(item)
	if !ok || i.Role().Kind != point.Temperature || !m.HasIn[i] {
		return exitError{codeInput, fmt.Errorf("--read: %q is no probe of this machine", item)}
	}
	for _, bath := range o.read {
		if _, ok := baths[bath]; !ok {
			if _, err := measured("--read", bath); err != nil {
				return exitError{codeInput, fmt.Errorf("--read %q: allowed are ice, boil and the reference's °C, as in 180±0.5", bath)}
			}
		}
	}
	locks, err := lockBuses(m, lockFolders())
	if err != nil {
		return fmt.Errorf("%w (the daemon must not run: it would take a probe in hot water for trouble)", err)
	}
	defer locks.release()
	field, err := fieldbus.New(m, slog.New(slog.DiscardHandler))
	if err != nil {
		return err
	}
	defer func() { err = firstOf(err, field.Close()) }()
	for _, bath := range o.read {
		where := baths[bath]
		if where == "" {
			where = "beside a reference that shows " + bath + " °C"
		}
		p.say("%s", wrapped("", fmt.Sprintf("Put the %s probe %s. Mind hot water and steam.", item, where)))
		if _, err := p.ask(ctx, "Enter when it is there:", ""); err != nil {
			return err
		}
		c, err := atRest(ctx, field, m, i)
		if err != nil {
			return fmt.Errorf("%s, %s: %w", item, bath, err)
		}
		p.say("It reads %.2f °C.", c)
		switch bath {
		case "ice":
			o.ice = append(o.ice, c)
		case "boil":
			o.boil = append(o.boil, c)
		default:
			o.at = append(o.at, fmt.Sprintf("%.3f=%s", c, bath))
		}
	}
	return nil
}

// atRest is what a probe reads, °C, the mean over the time for which it rested.
func atRest(ctx context.Context, field *fieldbus.Fieldbus, m *profiles.Machine, i point.Input) (float64, error) {
	tick := time.NewTicker(lifelike(m, seconds(m.Scan.PeriodS)))
	defer tick.Stop()
	var img point.Image
	low, high, sum, n, sinceS := math.Inf(1), math.Inf(-1), 0.0, 0, 0.0
	for nowS := 0.0; nowS < longestRest; {
		select {
		case <-ctx.Done():
			return 0, ctx.Err()
		case <-tick.C:
		}
		nowS += float64(m.Scan.PeriodS)
		field.Read(ctx, nowS, time.Now().Add(time.Second), &img)
		v := img.In[i]
		if !v.Usable() {
			low, high, sum, n, sinceS = math.Inf(1), math.Inf(-1), 0, 0, nowS
			continue
		}
		if low, high = math.Min(low, v.V), math.Max(high, v.V); high-low > restK {
			low, high, sum, n, sinceS = v.V, v.V, 0, 0, nowS
		}
		sum += v.V
		n++
		if nowS-sinceS >= restS {
			return sum / float64(n), nil
		}
	}
	if n == 0 {
		return 0, errors.New("it cannot be read: see drumwright wiring")
	}
	return 0, fmt.Errorf("it did not stay within %.2g K for %.0f s: stir, wait, look for noise on its cable, and begin again", restK, restS)
}
