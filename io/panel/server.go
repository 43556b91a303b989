package panel

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"os"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"drumwright/io/record"
)

// Operator takes commands to the machine and says what became of them. It must
// return soon after ctx ends, refusing what it could not do.
type Operator interface {
	Do(ctx context.Context, c record.Command) record.Answer
}

// Batches gives the kept batches; record.ErrNoBatch for one that is not kept.
type Batches interface {
	Batches(ctx context.Context, want record.Search) ([]record.KeptBatch, error)
	Batch(ctx context.Context, id uint64) (record.KeptDetail, error)
	// SaveEntry keeps what a person has entered; record.ErrEntry says why not.
	SaveEntry(e record.Entry) (record.Entry, error)
}

// History gives the last events of the history of alarms, newest first.
type History interface {
	Alarms(ctx context.Context, limit int) ([]record.KeptAlarm, error)
}

// Proofs knows the proof tests of the interlocks and keeps what was done.
type Proofs interface {
	Proofs(ctx context.Context) (record.ProofBook, error)
	// Prove keeps one: of p only Test, Who, Seen, MeasuredS, Result and Note are
	// heeded. record.ErrProof says that the test cannot be kept as it is.
	Prove(ctx context.Context, p record.Proof) (record.Proof, error)
	// BeginProving lets the machine be warmed for proof tests, whatever is
	// overdue, until the time it returns.
	BeginProving(who string) time.Time
}

// Shop tells of the machine and its recipes. An error of Recipe wraps
// fs.ErrNotExist if there is no recipe of that name.
type Shop interface {
	Machine() record.MachineView
	Matrix() record.Matrix
	Commissioning(ctx context.Context) (record.CommissionBook, error)
	Recipes() ([]record.RecipeRow, error)
	Recipe(name string) (record.RecipeView, error)
}

// Learning knows what batches have taught, and lets people change it.
// record.ErrLesson says that something cannot be done as it was asked.
type Learning interface {
	// Learning gives what is learned, and of a scope and name also the history.
	Learning(ctx context.Context, scope, name string) (record.LessonBook, error)
	Change(ctx context.Context, c record.LessonChange) (record.Lesson, error)
	// Weigh takes what a batch weighed: of w only Batch, GreenKg (0 = as its recipe
	// says), RoastedKg and Who are heeded.
	Weigh(ctx context.Context, w record.Weighing) (record.Weighing, error)
}

// Config is what the panel stands between.
type Config struct {
	Operator Operator
	Batches  Batches      // nil = none are kept
	History  History      // of the alarms; nil = none is kept
	Proofs   Proofs       // nil = there are none
	Shop     Shop         // nil = nothing is told of machine and recipes
	Learning Learning     // nil = nothing is learned
	Next     NextBatches  // nil = nothing is said ahead of a batch
	Reports  Reports      // nil = none are made
	Folder   RecipeFolder // nil = recipes are not changed
	Metrics  http.Handler // nil = none
	// Preflight flies a recipe of the folder by name and gives what is answered
	// in JSON; nil = there is none. It runs on the request's goroutine.
	Preflight func(recipe string) (json.RawMessage, error)
	Accounts  Accounts       // nil = none: at the machine nobody is asked
	Audit     Audit          // nil = nothing is noted
	Remote    bool           // who has signed in may also command from afar, as far as Kind.LocalOnly allows
	Names     []string       // of this computer, in small letters, by which it may be asked from afar
	Proxies   []netip.Prefix // whose word on whom they relay is believed
	Stale     time.Duration  // without a scan for so long the machine is not healthy; 0 = 3 s
	Log       *slog.Logger   // nil = none
}

// Server is the panel.
type Server struct {
	cfg    Config
	stream *stream
	last   atomic.Pointer[seen]
	flying sync.Mutex // held during a preflight

	busyAfar sync.Mutex // held while something costly is worked out for those elsewhere
	refusals refusals
	hands    hands
}

// seen is a scan and when it came; never changed once stored.
type seen struct {
	scan record.Scan
	at   time.Time
}

// New makes a panel that knows no scan yet.
func New(cfg Config) *Server {
	if cfg.Stale <= 0 {
		cfg.Stale = 3 * time.Second
	}
	if cfg.Log == nil {
		cfg.Log = slog.New(slog.DiscardHandler)
	}
	s := &Server{cfg: cfg}
	s.stream = newStream(&s.last)
	s.hands = hands{now: time.Now, changed: s.stream.passed}
	s.stream.hands = &s.hands
	s.stream.may = func(r *http.Request) bool { return s.visit(r).role.Covers(record.RoleLook) }
	return s
}

// Put takes the scan as the one to show and streams what happened in it. It
// never waits; scans come from one goroutine.
func (s *Server) Put(sc *record.Scan) {
	before := s.last.Load()
	now := &seen{*sc, time.Now()}
	s.last.Store(now)
	s.stream.note(now, before == nil || record.Changed(&before.scan, &now.scan))
}

// Listen opens "host:port", which must be a loopback address, or "unix:/path". A
// socket that a dead process has left behind is replaced.
func Listen(address string) (net.Listener, error) {
	if path, ok := strings.CutPrefix(address, "unix:"); ok {
		return listenUnix(path)
	}
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return nil, fmt.Errorf("panel address %q: %w; write 127.0.0.1:8420 or unix:/path", address, err)
	}
	refused := fmt.Errorf("panel address %q is not a loopback address: commands are for those at the machine; write 127.0.0.1:8420 or unix:/path", address)
	if host != "localhost" && !loopback(host) {
		return nil, refused
	}
	l, err := net.Listen("tcp", address)
	if err != nil {
		return nil, fmt.Errorf("panel: %w", err)
	}
	if !loopbackAddr(l.Addr()) { // whatever localhost was taken for
		l.Close()
		return nil, refused
	}
	return l, nil
}

func listenUnix(path string) (net.Listener, error) {
	fi, err := os.Lstat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
	case err != nil:
		return nil, fmt.Errorf("panel socket: %w", err)
	case fi.Mode().Type() != fs.ModeSocket:
		return nil, fmt.Errorf("panel socket %s: there is something else of that name; move it away or name another path", path)
	default:
		if c, err := net.DialTimeout("unix", path, time.Second); err == nil {
			c.Close()
			return nil, fmt.Errorf("panel socket %s: another process listens on it; stop that or name another path", path)
		}
		if err := os.Remove(path); err != nil {
			return nil, fmt.Errorf("panel socket: %w", err)
		}
	}
	l, err := net.Listen("unix", path)
	if err != nil {
		return nil, fmt.Errorf("panel socket: %w", err)
	}
	// Who may write to the socket may command the machine.
	if err := os.Chmod(path, 0o660); err != nil {
		l.Close()
		return nil, fmt.Errorf("panel socket: %w", err)
	}
	return l, nil
}

// Serve answers on the listeners until ctx ends, then ends all streams, lets
// running requests finish for some seconds and closes the listeners.
func (s *Server) Serve(ctx context.Context, listeners ...net.Listener) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	srv := &http.Server{
		Handler:           s.Handler(),
		ConnContext:       markPeer,
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       10 * time.Second,
		WriteTimeout:      15 * time.Second, // the stream sets its own
		IdleTimeout:       60 * time.Second,
		MaxHeaderBytes:    16 << 10,
		ErrorLog:          slog.NewLogLogger(s.cfg.Log.Handler(), slog.LevelWarn),
	}
	var wg sync.WaitGroup
	wg.Go(func() { s.stream.run(ctx) })
	failed := make(chan error, len(listeners))
	for _, l := range listeners {
		wg.Go(func() { failed <- srv.Serve(l) })
	}
	var err error
	select {
	case <-ctx.Done():
	case err = <-failed:
		err = fmt.Errorf("panel: %w", err)
	}
	cancel()
	end, done := context.WithTimeout(context.Background(), 3*time.Second)
	defer done()
	if e := srv.Shutdown(end); e != nil {
		srv.Close()
	}
	wg.Wait()
	return err
}
