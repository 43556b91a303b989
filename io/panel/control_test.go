package panel_test

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/target"
	"github.com/chromedp/chromedp"

	"drumwright/io/peertest"
	"drumwright/io/record"
)

// other is a second browser, with cookies and storage of its own, on the same
// machine.
func (b *browser) other() *browser {
	b.Helper()
	var id target.ID
	if err := chromedp.Run(shared.ctx, chromedp.ActionFunc(func(ctx context.Context) error {
		ctx = cdp.WithExecutor(ctx, chromedp.FromContext(ctx).Browser)
		own, err := target.CreateBrowserContext().WithDisposeOnDetach(true).Do(ctx)
		if err == nil {
			id, err = target.CreateTarget("about:blank").WithBrowserContextID(own).WithNewWindow(true).Do(ctx)
		}
		return err
	})); err != nil {
		b.Fatal(err)
	}
	ctx, end := chromedp.NewContext(shared.ctx, chromedp.WithTargetID(id))
	b.Cleanup(end)
	o := &browser{TB: b.TB, ctx: ctx, server: b.server, url: b.url}
	o.do(chromedp.EmulateViewport(1280, 800), chromedp.Navigate(b.url))
	o.until(shown + `?.startsWith('Roasting')`)
	return o
}

// named gives this browser its person.
func (b *browser) named(who string) {
	b.js(fmt.Sprintf(`localStorage.setItem('who', %q); 0`, who))
}

// press holds the button of that label for 0.9 s, or clicks it.
func (b *browser) press(label string, hold bool) {
	b.Helper()
	find := fmt.Sprintf(`[...document.querySelectorAll('.say button')].find(x => x.querySelector('.label')?.textContent === %q)`, label)
	b.until(`!!(` + find + `)`)
	b.js(fmt.Sprintf(`new Promise(done => { const e = %s, r = e.getBoundingClientRect(), at = {bubbles: true, button: 0, pointerId: 1, clientX: r.left + 5, clientY: r.top + 5};
		if (!%v) { e.click(); return done(0); }
		e.setPointerCapture = () => {}; e.dispatchEvent(new PointerEvent('pointerdown', at)); setTimeout(() => { e.dispatchEvent(new PointerEvent('pointerup', at)); done(0); }, 900); })`, find, hold))
}

// pressUntil presses a button again, as a person does whose press came while buttons
// rest or on a busy computer, until x shows what it brings.
func (b *browser) pressUntil(label string, hold bool, x *browser, then string) {
	b.Helper()
	for range 8 {
		b.press(label, hold)
		if chromedp.Run(x.ctx, chromedp.Poll(then, nil, chromedp.WithPollingTimeout(5*time.Second), chromedp.WithPollingInterval(20*time.Millisecond))) == nil {
			return
		}
	}
	x.until(then)
}

// Two browsers: one has control and the other looks, may still take heat away, asks
// and is handed control, and takes it by holding and in no other way. Both say who
// has it.
func TestTwoBrowsers(t *testing.T) {
	peertest.OnceIsEnough(t)
	a := openBrowser(t)
	a.change(func(s *record.Scan) { s.Alarms.Num = 0 })
	a.until(shown + `?.startsWith('Roasting') && document.querySelector('[data-kind=hold]')`)
	b := a.other()
	a.named("Ada")
	b.named("Ben")
	in := func(x *browser, what string) {
		t.Helper()
		x.until(`document.querySelector('#top').innerText.includes('` + what + `')`)
	}
	in(a, "1 looking")
	a.tap(record.FirstCrack)
	in(a, "you have control")
	in(b, "Ada has control")
	b.until(`document.querySelector('.control')?.innerText.includes('Ada has control.')`)
	if got := b.js(`[...document.querySelectorAll('.say [data-kind]')].map(e => e.dataset.kind).join()`); got != "drop,hold,stop,acknowledge,silence" {
		t.Errorf("without control are offered: %s", got)
	}
	b.shots("looking-on")
	b.do(chromedp.EmulateViewport(1280, 800))

	b.press("Take control", false)
	b.pressUntil("Ask for control", false, a, `document.querySelector('.control')?.innerText.includes('Ben asks for control.')`)
	a.shots("asked")
	a.do(chromedp.EmulateViewport(1280, 800))
	a.press("Hand over control", false)
	in(a, "you have control")
	b.until(`document.querySelector('.control').innerText.includes('Ada is asked for control.')`)
	has := `document.querySelector('#top').innerText.includes('you have control')`
	a.pressUntil("Hand over control", true, b, has)
	a.until(`document.querySelector('.control').innerText.includes('Ben has taken control.') && !document.querySelector('[data-kind=first-crack], [data-kind=drop-at]')`)
	a.shots("taken")
	a.do(chromedp.EmulateViewport(1280, 800))

	// What is asked all the same, as by an old picture, is refused in words.
	if got := a.js(`import('/page/link.js').then(l => l.send({kind: 'charged'})).then(x => x.text)`); !strings.Contains(got, "Ben has control. Take control, or ask.") {
		t.Errorf("refused: %s", got)
	}
	a.pressUntil("Take control", true, a, has)
	in(b, "Ada has control")
	b.tap(record.Hold)
	peertest.Eventually(t, browserPatience, "the commands", func() bool { return a.heard.kinds() == "first-crack hold" })
	in(a, "you have control")
}
