package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"time"

	"drumwright/io/point"
	"drumwright/io/record"
)

// localAPI is the running daemon as its local API shows it.
type localAPI struct {
	base   string
	client *http.Client
	cookie string // of the session, once somebody has signed in
}

// daemonTime bounds one request; the stream has no such bound.
const daemonTime = 10 * time.Second

// dialDaemon prepares to speak to the daemon; nothing is opened yet.
func dialDaemon(address string) (*localAPI, error) {
	path, unix := strings.CutPrefix(address, "unix:")
	if unix || strings.HasPrefix(address, "/") {
		dial := func(ctx context.Context, _, _ string) (net.Conn, error) {
			return new(net.Dialer).DialContext(ctx, "unix", path)
		}
		return &localAPI{base: "http://localhost", client: &http.Client{Transport: &http.Transport{DialContext: dial}}}, nil
	}
	if _, _, err := net.SplitHostPort(address); err != nil {
		return nil, exitError{codeInput, fmt.Errorf("--address %q: %w; allowed is HOST:PORT or the path of a socket", address, err)}
	}
	return &localAPI{base: "http://" + address, client: &http.Client{Transport: &http.Transport{Proxy: nil}}}, nil
}

func (d *localAPI) send(ctx context.Context, method, path string, body any) (*http.Response, error) {
	var b io.Reader
	if body != nil {
		text, err := json.Marshal(body)
		if err != nil {
			return nil, err
		}
		b = bytes.NewReader(text)
	}
	r, err := http.NewRequestWithContext(ctx, method, d.base+path, b)
	if err != nil {
		return nil, err
	}
	if body != nil {
		r.Header.Set("Content-Type", "application/json")
	}
	if d.cookie != "" {
		r.Header.Set("Cookie", d.cookie)
	}
	res, err := d.client.Do(r)
	if err != nil {
		return nil, fmt.Errorf("no answer from the daemon: %w (does drumwright serve run, and at this address?)", err)
	}
	if res.StatusCode >= 300 {
		defer res.Body.Close()
		var p struct {
			Detail string
			SignIn bool `json:"sign_in"`
		}
		if json.NewDecoder(io.LimitReader(res.Body, 1<<20)).Decode(&p) != nil || p.Detail == "" {
			p.Detail = res.Status
		}
		if p.SignIn && d.cookie == "" && path != sessionAPI {
			if err := d.signIn(ctx, p.Detail); err != nil {
				return nil, err
			}
			again, cancel := context.WithCancel(context.WithoutCancel(ctx))
			time.AfterFunc(daemonTime, cancel)
			return d.send(again, method, path, body)
		}
		return nil, refused(p.Detail)
	}
	return res, nil
}

const sessionAPI = "/api/v1/session"

// signIn asks the person at the terminal for an account; why is what was refused
// without. A command over the local socket never comes to this.
func (d *localAPI) signIn(ctx context.Context, why string) error {
	account, err := fromTerminal(fmt.Sprintf("The daemon says: %s.\nAccount: ", why), true)
	if err != nil {
		return fmt.Errorf("%s (%w)", why, err)
	}
	password, err := readSecret("Password: ")
	if err != nil {
		return err
	}
	// What the person took to type is no fault of the daemon's.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), daemonTime)
	defer cancel()
	res, err := d.send(ctx, http.MethodPost, sessionAPI, map[string]string{"account": account, "password": password})
	if err != nil {
		return err
	}
	defer res.Body.Close()
	for _, c := range res.Cookies() {
		d.cookie = c.Name + "=" + c.Value
	}
	return nil
}

// refused is what the daemon answered instead of doing it.
type refused string

func (r refused) Error() string { return string(r) }

func (d *localAPI) raw(ctx context.Context, path string) ([]byte, error) {
	ctx, cancel := context.WithTimeout(ctx, daemonTime)
	defer cancel()
	res, err := d.send(ctx, http.MethodGet, path, nil)
	if err != nil {
		return nil, err
	}
	defer res.Body.Close()
	return io.ReadAll(res.Body)
}

func (d *localAPI) get(ctx context.Context, path string, into any) error {
	b, err := d.raw(ctx, path)
	if err != nil {
		return err
	}
	return json.Unmarshal(b, into)
}

func (d *localAPI) post(ctx context.Context, path string, body, into any) error {
	ctx, cancel := context.WithTimeout(ctx, daemonTime)
	defer cancel()
	res, err := d.send(ctx, http.MethodPost, path, body)
	if err != nil {
		return err
	}
	defer res.Body.Close()
	return json.NewDecoder(res.Body).Decode(into)
}

// order gives a command as a panel would.
func (d *localAPI) order(ctx context.Context, c record.Command, who string) error {
	body := map[string]any{"kind": c.Kind, "who": who}
	if c.Recipe != "" {
		body["recipe"] = c.Recipe
	}
	if c.Cause != "" {
		body["cause"] = c.Cause
	}
	if c.Loop != "" {
		body["loop"] = c.Loop
	}
	switch c.Kind {
	case record.SetManual:
		body["value"] = c.Value
	case record.TryLoop:
		body["value"], body["method"], body["limit_k"] = c.Value, c.Method, c.LimitK
		if c.FlowKgPerH > 0 {
			body["flow_kg_per_h"] = c.FlowKgPerH
		}
	}
	switch c.Kind {
	case record.TurnDrum:
		body["skin_mm_per_s"] = c.SkinMMPerS
	case record.DropAt:
		body["drop_c"] = c.DropC
	}
	var a record.Answer
	return d.post(ctx, "/api/v1/commands", body, &a)
}

// events hands over what the stream says happens, until ctx ends or the stream
// does; then the channel is closed.
func (d *localAPI) events(ctx context.Context) (<-chan record.EventView, error) {
	res, err := d.send(ctx, http.MethodGet, "/api/v1/events", nil)
	if err != nil {
		return nil, err
	}
	out := make(chan record.EventView, 64)
	go func() {
		defer close(out)
		defer res.Body.Close()
		lines := bufio.NewScanner(res.Body)
		lines.Buffer(nil, 1<<20)
		kind := ""
		for lines.Scan() {
			if k, ok := strings.CutPrefix(lines.Text(), "event: "); ok {
				kind = k
			}
			data, ok := strings.CutPrefix(lines.Text(), "data: ")
			if !ok || kind != "event" {
				continue
			}
			var e record.EventView
			if json.Unmarshal([]byte(data), &e) != nil {
				continue
			}
			select {
			case out <- e:
			case <-ctx.Done():
				return
			}
		}
	}()
	return out, nil
}

// scan asks for the last scan, as far as the API shows it.
func (d *localAPI) scan(ctx context.Context) (*record.Scan, error) {
	var v record.View
	if err := d.get(ctx, "/api/v1/state", &v); err != nil {
		return nil, err
	}
	return scanOf(&v)
}

// scanOf is the view as the scan it was made from, in what a proof test looks
// at: inputs, permit and what the gate decided.
func scanOf(v *record.View) (*record.Scan, error) {
	s := &record.Scan{N: v.Scan, ScanS: float64(v.ScanS), State: v.State, Next: v.Next}
	if v.Batch != nil {
		s.Batch.ID = v.Batch.ID
	}
	f := &v.Safety
	s.Safety = record.Safety{HeatPermitted: f.HeatPermitted, Tripped: f.Tripped, SafeState: f.SafeState, SafeStateName: f.SafeStateName,
		First: f.FirstCause, HeldBack: f.HeldBack, Trips: f.Trips}
	for name, p := range v.Points {
		i, ok := point.InputNamed(name)
		if !ok {
			return nil, fmt.Errorf("the daemon has a point %q that this program does not know: use the same version of both", name)
		}
		x := point.Value{V: float64(p.Value), AgeS: float64(p.AgeS)}
		switch p.Quality {
		case point.Good.String():
			x.Quality = point.Good
		case point.Uncertain.String():
			x.Quality = point.Uncertain
		case point.Bad.String():
			x.Quality = point.Bad
		default:
			return nil, errors.New("the daemon gives the quality " + p.Quality + ", which this program does not know")
		}
		s.Image.In[i] = x
	}
	for name, p := range v.Outputs {
		if o, ok := point.OutputNamed(name); ok {
			s.Permit[o] = float64(p.Permit)
		}
	}
	return s, nil
}
