package panel_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"drumwright/io/peertest"
	"drumwright/io/record"
)

// tap clicks a command's button as a finger does, once the buttons rest no more.
func (b *browser) tap(kind record.Kind) {
	b.Helper()
	b.until(fmt.Sprintf(`document.querySelector('[data-kind="%s"]') && performance.now() - Number(document.querySelector('#commands').dataset.moved) > 350`, kind))
	b.js(fmt.Sprintf(`document.querySelector('[data-kind="%s"]').click(); 0`, kind))
}

// shots keeps pictures narrow and wide, light and dark.
func (b *browser) shots(name string) {
	for _, theme := range []string{"light", "dark"} {
		b.do(emulation.SetEmulatedMedia().WithFeatures([]*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: theme}}))
		for _, width := range []int64{360, 1280} {
			b.do(chromedp.EmulateViewport(width, 800))
			b.shot(fmt.Sprintf("%s-%d-%s", name, width, theme))
		}
	}
	b.do(emulation.SetEmulatedMedia())
}

// In the last half minute the sentence on top counts, and no other figure stands
// beside it; the drop is put off by one tap. Its temperature is changed by a number
// within bounds that are told; a later drop is accepted by one tap.
func TestAmendByTapping(t *testing.T) {
	peertest.OnceIsEnough(t)
	b := openBrowser(t)
	b.change(func(s *record.Scan) {
		s.Batch.TargetDropC, s.Batch.DropLeastC, s.Batch.DropMostC, s.Batch.DropDueS = 209, 204, 214, 630
		refuse(s, record.DropAt, "")
	})
	b.until(`document.querySelector('.outlook')?.textContent.includes('Drop in about 5\u202fmin 20\u202fs')`)
	b.tap(record.DropAt)
	b.until(`document.querySelector('dialog [name=number]')`)
	if got := b.js(`document.querySelector('dialog').innerText.replaceAll('\n', ' ') + document.querySelector('dialog [name=number]').value`); !strings.Contains(got, "204.0 to 214.0") || !strings.HasSuffix(got, "209") {
		t.Errorf("asked: %s", got)
	}
	b.shots("drop-at")
	b.js(`(() => { const d = document.querySelector('dialog'); d.querySelector('[name=who]').value = 'Ada'; d.querySelector('[name=number]').value = '211,5'; d.querySelector('[value=yes]').click(); })(); 0`)
	peertest.Eventually(t, browserPatience, "the command", func() bool { return b.heard.kinds() == "drop-at" })
	if c := b.heard.came[0]; c.DropC != 211.5 || c.Who != "Ada" || c.SeenState != "roasting" {
		t.Errorf("came: %+v", c)
	}

	b.change(func(s *record.Scan) {
		s.Bean.ShortC, s.Bean.LateS, s.Bean.Bound = 6, 40, record.BoundAirHeater
		s.Batch.DropDueS = 670
		refuse(s, record.AcceptLater, "")
	})
	b.until(shown + `.includes('target out of reach') && document.querySelector('.buttons .main').dataset.kind === 'accept-later'`)
	b.shots("late")
	b.tap(record.AcceptLater)
	peertest.Eventually(t, browserPatience, "the command", func() bool { return b.heard.kinds() == "drop-at accept-later" })

	b.change(func(s *record.Scan) {
		s.Bean.ShortC, s.Bean.LateS, s.Bean.Bound = 0, 0, record.Unbound
		s.Batch.Amended = record.Amended{FromS: 300, CurveS: 300, EndS: 740, FromK: -2}
		refuse(s, record.AcceptLater, "The curve can be met: there is no later drop to accept.")
	})
	b.until(`[...document.querySelectorAll('.lane .axis.mid.soft')].some(e => e.textContent.endsWith('min left'))`)

	b.change(func(s *record.Scan) {
		s.Batch.SinceS, s.Batch.FirstCrackS, s.Batch.DropDueS, s.Next = 641, 560, 670, "Drop soon: go to the discharge door."
		refuse(s, record.Longer, "")
		refuse(s, record.DropAt, "Too late: the drop is less than a minute away. Use 15 s longer, or drop by hand.")
	})
	b.until(shown + `.startsWith('Drop in about 30')`)
	if got := b.js(`[document.querySelector('.outlook').textContent, document.querySelector('.nexttext').textContent].join(' ')`); strings.Contains(got, "rop in about") {
		t.Errorf("a second figure of the drop: %s", got)
	}
	if got := b.js(`document.querySelector('.notnow').textContent`); !strings.Contains(got, "Change remaining target: Too late") {
		t.Errorf("not now: %s", got)
	}
	b.shots("drop-due")
	b.tap(record.Longer)
	peertest.Eventually(t, browserPatience, "the command", func() bool { return b.heard.kinds() == "drop-at accept-later longer" })
}

// Probe and plan go through one filter: a probe that is on its target all the way
// down a falling rate shows the plan's rate. Hand calculation: the slope of least
// squares of a parabola is that in the middle of its window, here 15 s ago.
func TestRateOnTargetIsThePlans(t *testing.T) {
	peertest.OnceIsEnough(t)
	b := openBrowser(t)
	got := b.js(`import('/page/rate.js').then(({ rises }) => {
		const list = [];
		for (let t = 0; t <= 60; t++) { const c = 150 + 0.3 * t - 0.001 * t * t; list.push({ t, bean: c, target: c }); rises(list, t, 1); }
		const gap = list.filter(p => p.t < 40 || p.t > 45).map(p => ({ ...p }));
		rises(gap, gap.length - 1, 1);
		return [list[60].ror.toFixed(6), list[60].plan.toFixed(6), list[5].ror, gap.at(-1).ror].join(' ');
	})`)
	if want := "0.210000 0.210000  "; got != want {
		t.Errorf("%q, want %q: 0.3 - 0.002 × 45 K/s, nothing before the window is full or over a gap", got, want)
	}
}
