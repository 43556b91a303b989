package panel_test

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"io"
	"net/http"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"drumwright/io/peertest"
	"drumwright/io/point"
	"drumwright/io/record"
)

// The whole page weighs at most 250 kB as it would be sent compressed.
func TestPageWeight(t *testing.T) {
	files, err := os.ReadDir("page")
	if err != nil {
		t.Fatal(err)
	}
	var all countingWriter
	for _, f := range files {
		text, err := os.ReadFile("page/" + f.Name())
		if err != nil {
			t.Fatal(err)
		}
		z := gzip.NewWriter(&all)
		if _, err := io.Copy(z, bytes.NewReader(text)); err != nil {
			t.Fatal(err)
		}
		if err := z.Close(); err != nil {
			t.Fatal(err)
		}
	}
	t.Logf("%d files, %d bytes compressed", len(files), all)
	if all > 250_000 {
		t.Errorf("the page weighs %d bytes, allowed are 250000", all)
	}
}

type countingWriter int

func (c *countingWriter) Write(p []byte) (int, error) {
	*c += countingWriter(len(p))
	return len(p), nil
}

// A difference from target lands where it belongs: 8 °C are half the lane's 102
// units about 61. Beyond that the line lies on the rim with a chevron. The dotted
// line ahead begins where the measured one ends.
func TestLaneArithmetic(t *testing.T) {
	peertest.OnceIsEnough(t)
	b := openBrowser(t)
	b.until(`document.querySelector('.lane path.trace')`)
	for _, off := range []float64{-12, -1.5, 3, 12} {
		b.change(func(s *record.Scan) {
			s.Image.In[point.Bean] = point.Value{V: s.Bean.TargetC + off, Quality: point.Good}
		})
		held := max(-8, min(8, off))
		at := strconv.FormatFloat(61-held*102/16, 'f', 1, 64)
		b.until(fmt.Sprintf(`(() => { const n = [...document.querySelector('.lane path.trace:not(.ahead)').getAttribute('d').matchAll(/[ML]([\d.]+) ([\d.]+)/g)].at(-1);
			const a = document.querySelector('.lane path.ahead').getAttribute('d').match(/M([\d.]+) ([\d.]+)/);
			return n && Math.abs(n[2] - %s) < 1 && a && (Math.abs(%v) > 8 || Math.abs(a[2] - n[2]) < 0.2); })()`, at, off))
		chevron := b.js(`String(document.querySelectorAll('.lane .chevron').length)`)
		if want := map[bool]string{true: "1", false: "0"}[off < -8 || off > 8]; chevron != want {
			t.Errorf("%+v °C: %s chevrons, want %s", off, chevron, want)
		}
	}
}

// At every width nothing of what must not collapse is gone, nothing scrolls
// sideways; without motion nothing flashes.
func TestNarrowAndStill(t *testing.T) {
	peertest.OnceIsEnough(t)
	b := openBrowser(t)
	b.change(func(s *record.Scan) {
		s.Alarms.Num = 1
		s.Alarms.List[0] = record.Alarm{ID: "air_lost", Text: "Air flow is lost.", Priority: record.PriorityCritical, State: record.AlarmUnacknowledged}
	})
	b.until(`document.querySelector('#bar.calls') && document.querySelector('.lane path.trace')`)
	for _, width := range []int64{320, 360, 600, 768, 1024, 1280, 1920, 2560} {
		b.do(chromedp.EmulateViewport(width, 800))
		if over := b.js(`document.documentElement.scrollWidth - document.documentElement.clientWidth`); over != "0" {
			t.Errorf("%d: scrolls sideways by %s px", width, over)
		}
		if gone := b.js(`['#headline', '.nexttext', '.buttons .main', '#bar', '.bignum', '.strip.p1', '.firebutton'].filter(q => !(document.querySelector(q)?.getClientRects().length)).join()`); gone != "" {
			t.Errorf("%d: gone are %s", width, gone)
		}
	}
	for value, want := range map[string]bool{"reduce": false, "no-preference": true} {
		b.do(emulation.SetEmulatedMedia().WithFeatures([]*emulation.MediaFeature{{Name: "prefers-reduced-motion", Value: value}}))
		if moves := b.js(`String(getComputedStyle(document.querySelector('#bar')).animationName)`) != "none"; moves != want {
			t.Errorf("motion %s: the bar moves: %v", value, moves)
		}
	}
}

// BenchmarkPage measures what a person waits for: the page with its first picture,
// and from a scan to its words on the screen.
func BenchmarkPage(b *testing.B) {
	w := openBrowser(b)
	w.until(shown + `?.startsWith('Roasting')`)
	b.Run("opening", func(b *testing.B) { // from the request to the whole picture
		sum := 0.0
		for range b.N {
			w.do(chromedp.Navigate("about:blank"), chromedp.Navigate(w.url))
			ms, err := strconv.ParseFloat(w.js(`new Promise(done => { const t = setInterval(() => { if (document.querySelector('#headline')?.textContent.startsWith('Roasting')) { clearInterval(t); done(String(performance.now())); } }, 4); })`), 64)
			if err != nil {
				b.Fatal(err)
			}
			sum += ms
		}
		b.ReportMetric(sum/float64(b.N), "shown-ms")
	})
	b.Run("headline", func(b *testing.B) { // a change of state: not held back to the next second
		states := []string{"ready", "cooling"}
		heads := []string{"Ready", "Beans cooling"}
		var sum time.Duration
		for i := range b.N {
			w.js(fmt.Sprintf(`window.seen = new Promise(done => { const t = setInterval(() => { if (document.querySelector('#headline').textContent.startsWith(%q)) { clearInterval(t); done(Date.now()); } }, 4); }); 0`, heads[i%2]))
			var at time.Time
			w.change(func(s *record.Scan) { s.State = states[i%2]; at = time.Now() })
			ms, err := strconv.ParseFloat(w.js(`window.seen.then(String)`), 64)
			if err != nil {
				b.Fatal(err)
			}
			sum += time.UnixMilli(int64(ms)).Sub(at)
		}
		b.ReportMetric(float64(sum.Milliseconds())/float64(b.N), "shown-ms")
	})
	res, err := http.Get(w.url)
	if err != nil || !strings.Contains(res.Header.Get("Content-Type"), "html") {
		b.Fatal(err)
	}
	res.Body.Close()
}
