package panel_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"

	"drumwright/control"
	"drumwright/io/panel"
	"drumwright/io/peertest"
	"drumwright/io/record"
)

// key presses a key down or lets it go.
func (b *browser) key(how input.KeyType, name string, code int64) {
	b.Helper()
	text := map[string]string{"Enter": "\r"}[name]
	if how == input.KeyUp {
		text = ""
	}
	b.do(chromedp.ActionFunc(func(ctx context.Context) error {
		return input.DispatchKeyEvent(how).WithKey(name).WithCode(name).WithText(text).WithWindowsVirtualKeyCode(code).Do(ctx)
	}))
}

func (b *browser) tab() { b.key(input.KeyDown, "Tab", 9); b.key(input.KeyUp, "Tab", 9) }

// focused says of what has the focus which region it is in, and what is wrong with how
// that is seen: no ring, hidden, or covered by what sticks to the rims.
const focused = `(() => { const e = document.activeElement, r = e.getBoundingClientRect(), s = getComputedStyle(e);
	const region = ['.skip', '#top', '#bar', '.say', '.show', '#foot nav, #foot .more', '.firebutton'].findIndex(q => e.closest(q));
	const at = document.elementFromPoint(r.left + r.width / 2, r.top + r.height / 2);
	const bad = s.outlineStyle === 'none' || parseFloat(s.outlineWidth) < 2 ? 'has no ring' : r.width < 1 || r.height < 1 ? 'is hidden' : !e.contains(at) ? 'is covered' : '';
	return JSON.stringify([region, bad ? e.outerHTML.slice(0, 120) + ' ' + bad : '']); })()`

// tabTo moves the focus by keyboard to the element that is so; it reports whether
// there is one.
func (b *browser) tabTo(is string) bool {
	b.Helper()
	for range 60 {
		if b.js(fmt.Sprintf(`String((e => %s)(document.activeElement))`, is)) == "true" {
			return true
		}
		b.tab()
	}
	return false
}

// enter gives what has been reached a press of the key, held until it is full where it
// must be held; and again, as a person does whose press came while buttons rest, until
// then is so.
func (b *browser) enter(is, then string) {
	b.Helper()
	soon := func(so string) bool {
		return chromedp.Run(b.ctx, chromedp.Poll(so, nil, chromedp.WithPollingTimeout(4*time.Second), chromedp.WithPollingInterval(20*time.Millisecond))) == nil
	}
	for range 8 {
		b.until(`!document.querySelector('#commands') || performance.now() - Number(document.querySelector('#commands').dataset.moved) > 350`) // what has just moved rests
		if !b.tabTo(is) {                                                                                                                      // not there yet, or gone because the press before has been heeded
			if soon(then) {
				return
			}
			continue
		}
		b.key(input.KeyDown, "Enter", 13)
		if b.js(`String('hold' in document.activeElement.dataset)`) == "true" {
			soon(`document.activeElement.classList.contains('full')`)
		}
		b.key(input.KeyUp, "Enter", 13)
		if soon(then) {
			return
		}
	}
	b.until(then)
}

// A whole batch by keyboard alone on the simulated machine: choose a recipe, warm,
// note first crack, drop, empty the tray, run down; then a trip, seen and reset with
// name and finding. What has the focus is always seen, and it goes through the regions
// in the order in which they are read.
func TestKeyboardOnly(t *testing.T) {
	peertest.OnceIsEnough(t)
	f := newFloor(t, nil, control.Restored{})
	f.preheated()
	var server *panel.Server
	b := openBrowser(t, func(c *panel.Config) { c.Operator = f.runner })
	b.change(func(*record.Scan) { b.off = true })
	server = b.server
	f.live(func(s *record.Scan) { server.Put(s) })
	kind := func(k record.Kind) string { return fmt.Sprintf(`e.dataset.kind === %q`, k) }
	head := func(begins string) string {
		return fmt.Sprintf(`document.querySelector('#headline')?.textContent.startsWith(%q)`, begins)
	}
	order := func() {
		t.Helper()
		b.js(`document.activeElement.blur(); document.body.tabIndex = -1; document.body.focus(); document.body.removeAttribute('tabindex'); 0`)
		last, stops := -1, 0
		for range 60 {
			b.tab()
			if b.js(`String(document.activeElement === document.body)`) == "true" { // once round
				break
			}
			var region int
			var bad string
			if _, err := fmt.Sscanf(b.js(focused), `[%d,%q]`, &region, &bad); err != nil {
				t.Fatal(err)
			}
			if bad != "" {
				t.Errorf("focus: %s", bad)
			}
			if region < last {
				if region <= 0 {
					break // once round
				}
				t.Errorf("the focus goes back from region %d to %d: %s", last, region, b.js(`document.activeElement.outerHTML.slice(0, 120)`))
			}
			last, stops = region, stops+1
		}
		if last != 6 || stops < 8 {
			t.Errorf("%d stops, the last in region %d: the fire button is to be the last of all", stops, last)
		}
	}
	b.until(head("Off"))
	order()
	b.enter(`e.getAttribute('href') === '#recipes'`, `document.querySelector('a[href="#recipes/plain"]')`)
	b.enter(`e.getAttribute('href') === '#recipes/plain'`, `[...document.querySelectorAll('button')].some(x => x.innerText.includes('Load for next batch'))`)
	b.enter(`e.tagName === 'BUTTON' && e.innerText.includes('Load for next batch')`, `document.querySelector('[data-kind="warm"]')`)
	b.enter(kind(record.StartWarming), head("Warming"))
	f.jump(func() { f.until("ready", 600, in("ready")) })
	b.until(head("Ready for beans"))
	f.jump(func() {
		f.pour()
		f.until("roasting", 60, in("roasting"))
		f.until("first crack", 600, func(s *record.Scan) bool { return s.Batch.SinceS > 500 })
	})
	b.until(`document.querySelector('.buttons .main')?.dataset.kind === 'first-crack'`)
	order()
	b.enter(kind(record.FirstCrack), `document.querySelector('#headline').textContent.includes('since first crack')`)
	b.enter(kind(record.DropNow), head("Beans going into the tray"))
	f.jump(func() { f.drop(); f.until("cooling", 120, in("cooling")) })
	b.enter(kind(record.CoolDone), head("Warming"))
	b.enter(kind(record.Stop), head("Cooling down"))

	f.jump(func() { f.fault("estop_pressed"); f.until("the trip", 5, in("tripped")) })
	b.until(head("Emergency stop is pressed"))
	order()
	const asked = `document.querySelector('dialog [name=who]') && document.activeElement.name === 'who'`
	b.enter(kind(record.Acknowledge), asked)
	b.do(chromedp.KeyEvent("Ada\r"))
	b.until(`document.querySelector('#bar').innerText.includes('seen by Ada')`)
	f.jump(func() { f.mend("estop_pressed"); f.run(15) })
	b.until(`document.querySelector('[data-kind="reset"]')`)
	b.enter(kind(record.ResetTrip), `document.querySelector('dialog [name=found]')`)
	if !b.tabTo(`e.name === 'found'`) {
		t.Fatal("the finding is not reached by keyboard")
	}
	b.do(chromedp.KeyEvent("wire loose\r"))
	b.until(head("Cooling down"))
}
