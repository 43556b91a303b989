package panel_test

import (
	"context"
	_ "embed"
	"encoding/json"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"drumwright/io/panel"
	"drumwright/io/peertest"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/io/record/recordtest"
)

// axe is axe-core, which checks pages against WCAG; its licence stands at its top.
//
//go:embed testdata/axe.min.js
var axe string

// browserPatience is how long a browser may take on a loaded computer.
const browserPatience = 60 * time.Second

// teller is the shop of these tests; its names try to be more than text.
type teller struct{}

const hostile = `<img src=x onerror="document.title='broken in'">`

func (teller) Machine() record.MachineView {
	s := record.StripView{Unit: "°C", Top: 324, Band: 5, Least: record.Unknown, Most: 280, Trip: 300}
	inlet, drum, flow := s, s, s // each in its own unit and range
	inlet.Top, inlet.Most, inlet.Trip = 378, 335, 350
	drum.Unit, drum.Top, drum.Band, drum.Most, drum.Trip = "mm/s", 972, 8, 900, record.Unknown
	flow.Unit, flow.Top, flow.Band, flow.Most, flow.Trip = "kg/h", 130, 4, 120, record.Unknown
	return record.MachineView{Name: "heron-1000", Note: hostile, Hash: strings.Repeat("0", 64), TimeScale: 1, Strips: record.StripsView{Base: s, Inlet: inlet, Drum: drum, Flow: flow},
		NotCovered: []string{"no exhaust: hot exhaust air cannot be seen"}, Exceptions: []string{}}
}

func (teller) Matrix() record.Matrix {
	return record.Matrix{Columns: []string{"cause", "state", "threshold", "air_heater_power", "what it means"},
		Rows: [][]string{{"drum_stall", "S3 drum stopped", "–", "off", "The drum stands though it is told to turn."}}}
}

func (teller) Commissioning(context.Context) (record.CommissionBook, error) {
	when := time.Date(2026, 11, 20, 9, 0, 0, 0, time.UTC)
	until := when.AddDate(1, 0, 0)
	return record.CommissionBook{Items: []record.CommissionStanding{
		{Item: "wiring", Needed: true, State: "guessed", Uncertainty: record.Unknown, How: "drumwright wiring machine.yaml --who NAME"},
		{Item: "drum_skin", Needed: true, Stands: true, State: "measured", When: &when, Who: "Ada", Uncertainty: 0.42, Unit: "°C", Until: &until, How: "drumwright calibrate machine.yaml drum_skin --who NAME"},
	}, Lacks: "commissioning is not done: wiring (guessed)", Next: "drumwright wiring machine.yaml --who NAME"}, nil
}

func (teller) Recipes() ([]record.RecipeRow, error) {
	return []record.RecipeRow{{Name: "plain", Title: "plain", Coffee: hostile, GreenKg: 1, Drop: "bean 209 °C"}}, nil
}

func (teller) Recipe(name string) (record.RecipeView, error) {
	if name != "plain" {
		return record.RecipeView{}, fs.ErrNotExist
	}
	curve := []record.CurveView{{AtS: 90, BeanC: 90}, {AtS: 700, BeanC: 209}}
	return record.RecipeView{RecipeRow: record.RecipeRow{Name: "plain", Title: hostile, GreenKg: 1, Drop: "bean 209 °C"}, Moisture: record.Unknown, InletC: 200, SkinC: 180,
		DropC: 209, DropLoss: 0.15, Points: curve, Dense: curve, Stages: []record.StageView{{When: "charge", InletC: record.Unknown, SkinC: 180, FlowKgPerH: 40}}, Speeds: []record.SpeedView{{MMPerS: 420}, {Loss: 0.15, MMPerS: 330}}, Text: "recipe: plain"}, nil
}

// clerk has an audit log of an ordinary morning.
type clerk struct{}

func (clerk) Audit(record.Audit) {}
func (clerk) Audits(context.Context, record.AuditSearch) ([]record.Audit, error) {
	at := func(m int) time.Time { return time.Date(2026, 11, 25, 8, m, 4, 0, time.Local) }
	return []record.Audit{
		{N: 5, When: at(31), Account: "ada", Role: "operate", Source: "127.0.0.1", Local: true, Action: "charged", Detail: `{"kind":"charged","seen_state":"ready","seen_scan":9000}`, Accepted: true, Reason: "charge noted"},
		{N: 4, When: at(29), Account: "ada", Role: "operate", Source: "127.0.0.1", Local: true, Action: "manual", Detail: `{"kind":"manual","loop":"air","value":0.4}`, Reason: "this needs the role engineer; ada has the role operate"},
		{N: 3, When: at(20), Source: "192.0.2.7", Action: "warm", Detail: `{"kind":"warm"}`, Reason: "from here only looking is possible: go to the machine (12 more like it were not written)"},
		{N: 2, When: at(9), Account: "ada", Role: "operate", Source: "127.0.0.1", Local: true, Action: "sign in", Accepted: true},
		{N: 1, When: at(2), Who: "Ben", Role: "engineer", Source: "socket", Local: true, Action: "POST /api/v1/proofs/begin", Detail: `{"who":"Ben"}`, Accepted: true}}, nil
}

// listener notes the commands that come.
type listener struct {
	mu   sync.Mutex
	came []record.Command
}

func (l *listener) Do(_ context.Context, c record.Command) record.Answer {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.came = append(l.came, c)
	return record.Answer{Accepted: true, Reason: "done"}
}

func (l *listener) kinds() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	var k []string
	for _, c := range l.came {
		k = append(k, string(c.Kind))
	}
	return strings.Join(k, " ")
}

// browser is one tab that watches a machine of hand-made scans.
type browser struct {
	testing.TB
	ctx    context.Context
	server *panel.Server
	heard  listener

	mu   sync.Mutex
	scan record.Scan
	stop chan struct{}
	off  bool // no more scans come
	url  string
}

// One browser serves all tests of this package: each has a tab of its own, and by
// the port of its server an origin and storage of its own.
var shared struct {
	once sync.Once
	ctx  context.Context
	err  error
	end  []context.CancelFunc
}

func TestMain(m *testing.M) {
	code := m.Run()
	for _, end := range shared.end {
		end()
	}
	os.Exit(code)
}

func chromium(t testing.TB, path string) context.Context {
	t.Helper()
	shared.once.Do(func() {
		alloc, endAlloc := chromedp.NewExecAllocator(context.Background(), append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.WSURLReadTimeout(browserPatience))...)
		ctx, endBrowser := chromedp.NewContext(alloc)
		shared.ctx, shared.end, shared.err = ctx, []context.CancelFunc{endBrowser, endAlloc}, chromedp.Run(ctx)
	})
	if shared.err != nil {
		t.Fatal(shared.err)
	}
	return shared.ctx
}

// openBrowser opens the page in a tab; with may furnish the panel.
func openBrowser(t testing.TB, with ...func(*panel.Config)) *browser {
	t.Helper()
	path := peertest.Find(t, "chromium")
	b := &browser{TB: t, scan: recordtest.Roasting(), stop: make(chan struct{})}
	b.scan.Batch.Recipe = "plain"
	refuse(&b.scan, record.AcceptLater, "The curve can be met: there is no later drop to accept.")
	refuse(&b.scan, record.Longer, "The drop is more than a minute away. It is possible in the last minute.")
	cfg := panel.Config{Operator: &b.heard, Shop: teller{}}
	for _, f := range with {
		f(&cfg)
	}
	b.server = panel.New(cfg)
	ctx, cancel := context.WithCancel(context.Background())
	l, err := panel.Listen("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	var work sync.WaitGroup
	work.Go(func() { _ = b.server.Serve(ctx, l) })
	work.Go(b.scans)
	tab, endTab := chromedp.NewContext(chromium(t, path))
	limited, endLimit := context.WithTimeout(tab, 3*browserPatience)
	b.ctx = limited
	chromedp.ListenTarget(tab, func(ev any) {
		if e, ok := ev.(*runtime.EventExceptionThrown); ok {
			t.Errorf("script: %s", e.ExceptionDetails.Error())
		}
	})
	t.Cleanup(func() {
		endLimit()
		endTab()
		close(b.stop)
		cancel()
		work.Wait()
	})
	b.url = "http://" + l.Addr().String() + "/"
	b.do(chromedp.EmulateViewport(1280, 800), chromedp.Navigate(b.url))
	return b
}

// refuse makes a scan one in which a command is not taken.
func refuse(s *record.Scan, k record.Kind, why string) {
	s.NotNow[slices.Index(record.Kinds[:], k)] = why
}

// scans is the machine: a scan every 50 ms.
func (b *browser) scans() {
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	for {
		select {
		case <-b.stop:
			return
		case <-tick.C:
		}
		b.mu.Lock()
		if !b.off {
			b.scan.N++
			b.scan.ScanS += 0.05
			b.scan.UnixNano = time.Now().UnixNano()
			s := b.scan
			b.server.Put(&s)
		}
		b.mu.Unlock()
	}
}

func (b *browser) change(f func(*record.Scan)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	f(&b.scan)
}

func (b *browser) do(actions ...chromedp.Action) {
	b.Helper()
	if err := chromedp.Run(b.ctx, actions...); err != nil {
		b.Fatal(err)
	}
}

// js evaluates an expression.
func (b *browser) js(expression string) (s string) {
	b.Helper()
	var v any
	b.do(chromedp.Evaluate(expression, &v, func(p *runtime.EvaluateParams) *runtime.EvaluateParams { return p.WithAwaitPromise(true) }))
	return fmt.Sprint(v)
}

// until waits until an expression is true.
func (b *browser) until(expression string) {
	b.Helper()
	if err := chromedp.Run(b.ctx, chromedp.Poll(expression, nil, chromedp.WithPollingTimeout(browserPatience), chromedp.WithPollingInterval(20*time.Millisecond))); err != nil {
		b.shot("failed")
		b.Fatalf("not so: %s: %v", expression, err)
	}
}

// shot keeps a picture where DRUMWRIGHT_SHOTS names a folder.
func (b *browser) shot(name string) {
	dir := os.Getenv("DRUMWRIGHT_SHOTS")
	if dir == "" {
		return
	}
	var png []byte
	b.do(chromedp.CaptureScreenshot(&png))
	if err := os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644); err != nil {
		b.Error(err)
	}
}

const shown = `document.querySelector('#headline')?.textContent`

// Every page, narrow and wide, light and dark, has no violation that axe-core
// knows of WCAG 2.2 A and AA, does not scroll sideways, and shows the button of
// the fire in the same corner, uncovered.
func TestPageAccessible(t *testing.T) {
	peertest.OnceIsEnough(t)
	b := openBrowser(t, func(c *panel.Config) { c.Audit = clerk{} })
	b.until(shown + `?.startsWith('Roasting')`)
	b.js(axe + `;0`)
	for _, theme := range []string{"light", "dark"} {
		b.do(emulation.SetEmulatedMedia().WithFeatures([]*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: theme}}))
		for _, width := range []int64{320, 360, 768, 1280, 1920} {
			b.do(chromedp.EmulateViewport(width, 800))
			for _, page := range []string{"now", "recipes/plain", "batches", "machine", "machine/audit", "alarms"} {
				if theme == "dark" && width != 360 && width != 1280 {
					continue
				}
				name := fmt.Sprintf("%s-%d-%s", strings.ReplaceAll(page, "/", "-"), width, theme)
				b.js(fmt.Sprintf(`location.hash = '#%s'`, page))
				b.until(fmt.Sprintf(`document.title.startsWith('%s') && document.querySelector('main h1')`, strings.ToUpper(page[:1])))
				var result []struct {
					ID    string `json:"id"`
					Nodes []struct {
						HTML    string `json:"html"`
						Summary string `json:"failureSummary"`
					} `json:"nodes"`
				}
				text := b.js(`axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa']}).then(r => JSON.stringify(r.violations))`)
				if err := json.Unmarshal([]byte(text), &result); err != nil {
					t.Fatal(err)
				}
				for _, v := range result {
					t.Errorf("%s: %s: %s %s", name, v.ID, v.Nodes[0].HTML, v.Nodes[0].Summary)
				}
				if over := b.js(`document.documentElement.scrollWidth - document.documentElement.clientWidth`); over != "0" {
					t.Errorf("%s: scrolls sideways by %s px", name, over)
				}
				if seen := b.js(`(() => { const f = document.querySelector('.firebutton'), r = f.getBoundingClientRect(); return f.contains(document.elementFromPoint(r.left + r.width / 2, r.top + r.height / 2)) && innerWidth - r.right < 40 && innerHeight - r.bottom < 40 && r.height >= 48 })()`); seen != "true" {
					t.Errorf("%s: the button of the fire is not in its corner", name)
				}
				b.shot(name)
			}
		}
	}
	if got := b.js(`document.title`); strings.Contains(got, "broken in") {
		t.Error("a name was taken for more than text")
	}
	if b.js(`String(document.querySelectorAll('main img').length)`) != "0" {
		t.Error("a name has made an element")
	}
}

// A link that is silent is told within its time, numbers go, commands are off;
// when it comes back all is shown again.
func TestLinkLost(t *testing.T) {
	b := openBrowser(t)
	b.until(`document.querySelector('.bignum')?.textContent.includes('°C') && document.querySelectorAll('.buttons .b').length > 2`)
	b.change(func(*record.Scan) { b.off = true })
	b.until(`document.querySelector('#top .link').textContent.startsWith('Link slow')`)
	if got := b.js(`document.querySelector('.bignum').className`); !strings.Contains(got, "hollow") {
		t.Error("a number of a slow link looks like a new one")
	}
	if n := b.js(`String(document.querySelectorAll('.buttons .b[data-kind]').length)`); n != "0" {
		t.Errorf("%s commands are offered over a slow link", n)
	}
	b.until(shown + `.startsWith('No link to the machine for')`)
	if text := b.js(`document.querySelector('.nowpage').textContent`); strings.Contains(text, "°C/min") || strings.Contains(text, "189") {
		t.Errorf("numbers are left: %s", text)
	}
	b.shot("link-lost")
	b.change(func(*record.Scan) { b.off = false })
	b.until(shown + `.startsWith('Roasting')`)
}

// What cannot be undone needs 0.8 s, or two taps in place; anything less does
// nothing.
func TestHold(t *testing.T) {
	b := openBrowser(t)
	b.until(`document.querySelector('[data-kind=drop]')`)
	press := func(ms int, inside bool) {
		t.Helper()
		b.js(fmt.Sprintf(`new Promise(done => { const e = document.querySelector('[data-kind=drop]'), r = e.getBoundingClientRect(), at = {bubbles: true, button: 0, pointerId: 1, clientX: r.left + 5, clientY: r.top + 5};
			e.dispatchEvent(new PointerEvent('pointerdown', at));
			setTimeout(() => { e.dispatchEvent(new PointerEvent('pointerup', {...at, clientX: %s})); done(0); }, %d); })`, map[bool]string{true: "r.left + 6", false: "r.left - 60"}[inside], ms))
	}
	b.js(`document.querySelector('[data-kind=drop]').setPointerCapture = () => {}; 0`)
	press(300, true)
	press(900, false)
	press(100, true)
	press(50, true) // a bounce
	if got := b.heard.kinds(); got != "" {
		t.Fatalf("commands %q came of nothing", got)
	}
	press(900, true)
	b.until(`true`)
	peertest.Eventually(t, browserPatience, "the drop", func() bool { return b.heard.kinds() == "drop" })
	if c := b.heard.came[0]; c.SeenState != "roasting" || c.SeenScan == 0 {
		t.Errorf("the command does not say what was looked at: %+v", c)
	}
}

// A suspected fire covers every page and holds nothing that starts, opens or
// resets, and no word that says it is over.
func TestFireScreen(t *testing.T) {
	b := openBrowser(t)
	b.until(shown + `?.startsWith('Roasting')`)
	b.js(`location.hash = '#batches'`)
	b.change(func(s *record.Scan) {
		s.State, s.Safety = "tripped", record.Safety{Tripped: true, SafeState: "S2", SafeStateName: "suspected fire", First: "fire_called"}
		s.Permit = [point.NumOutputs]float64{point.DrumRun: 1}
	})
	b.until(`!document.querySelector('#fire').hidden`)
	text := b.js(`document.querySelector('#fire').innerText`)
	for _, want := range []string{"Suspected fire", "Do not open drum, door, chute or collector.", "Leave every fan and blower off.", "Call the fire service", "not filled in: ask the shop"} {
		if !strings.Contains(text, want) {
			t.Errorf("the fire screen lacks %q", want)
		}
	}
	for _, bad := range []string{"safe.", "is over", "Drop now", "Start", "Reset", "is out.\n"} {
		if strings.Contains(strings.NewReplacer("unless it is clearly out.", "", "if the way there is safe.", "").Replace(text), bad) {
			t.Errorf("the fire screen says %q", bad)
		}
	}
	if got := b.js(`[...document.querySelectorAll('#fire button, #fire a')].map(e => e.innerText).filter(t => !/Silence horn|Note/.test(t)).join()`); got != "" {
		t.Errorf("the fire screen offers %s", got)
	}
	if in := b.js(`String([...document.body.children].filter(e => e.id !== 'fire' && !e.inert && e.tagName !== 'SCRIPT').length)`); in != "0" {
		t.Error("something behind the fire screen can be reached")
	}
	b.js(axe + `;0`)
	if v := b.js(`axe.run(document.querySelector('#fire'), {runOnly: ['wcag2a', 'wcag2aa', 'wcag22aa']}).then(r => r.violations.map(v => v.id).join())`); v != "" {
		t.Errorf("axe: %s", v)
	}
	b.shot("fire")
}
