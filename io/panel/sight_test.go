package panel_test

import (
	"bytes"
	"fmt"
	"image"
	_ "image/png"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"drumwright/io/peertest"
	"drumwright/io/point"
	"drumwright/io/record"
)

// A tab that slept shows no old number in any frame once it is awake: neither what
// stood there when it fell asleep, which is the first that is seen, nor what came
// meanwhile and waited. The frames are those of the document, not of the screen.
func TestNoOldNumberAfterSleep(t *testing.T) {
	peertest.OnceIsEnough(t)
	b := openBrowser(t)
	b.until(`document.querySelector('.bignum')?.textContent.startsWith('171.4')`)
	b.js(`(() => { window.frames_ = null;
		const look = () => document.querySelector('.nowpage').innerText;
		document.addEventListener('resume', () => { window.frames_ = [look()]; }, { capture: true });
		const each = () => { window.frames_?.push(look()); requestAnimationFrame(each); }; each(); })(); 0`)
	b.do(page.SetWebLifecycleState(page.SetWebLifecycleStateStateFrozen))
	// passed waits for scans after a change: the last of them is what is true now.
	passed := func(scans uint64, change func(*record.Scan)) {
		var from uint64
		b.change(func(s *record.Scan) { change(s); from = s.N })
		peertest.Eventually(t, browserPatience, "scans while it sleeps", func() bool {
			b.mu.Lock()
			defer b.mu.Unlock()
			return b.scan.N > from+scans
		})
	}
	passed(60, func(s *record.Scan) { s.Image.In[point.Bean].V, s.Bean.TargetC = 150.2, 150 })
	passed(2, func(s *record.Scan) { s.Image.In[point.Bean].V, s.Bean.TargetC, s.Air.MeasuredC = 144.6, 144.5, 230 })
	// A browser without a screen keeps what was frozen hidden, until it has the focus.
	b.do(page.SetWebLifecycleState(page.SetWebLifecycleStateStateActive), page.BringToFront(), emulation.SetFocusEmulationEnabled(true))
	b.until(`document.querySelector('.bignum')?.textContent.startsWith('144.6')`)
	if n := b.js(`String(window.frames_?.length > 1)`); n != "true" {
		t.Fatal("the tab was not asleep, or no frame was seen")
	}
	if old := b.js(`window.frames_.map((f, i) => f.split('\n').filter(l => /171\.4|150\.2|261/.test(l)).map(l => i + ': ' + l)).flat().slice(0, 5).join('; ')`); old != "" {
		t.Errorf("of %s frames show an old number: %s", b.js(`String(window.frames_.length)`), old)
	}
}

// A probe that gives nothing, stands still or is in doubt is written and drawn as
// that, never as 0 and never as if it were good.
func TestBadProbeLooksBad(t *testing.T) {
	peertest.OnceIsEnough(t)
	b := openBrowser(t)
	for _, c := range []struct {
		name  string
		value point.Value
		big   string
		strip string
		bar   bool // there is a bar with a wedge
	}{
		{"open", point.Value{V: 0, Quality: point.Bad, Cause: point.OpenProbe}, "no reading", "no reading", false},
		{"frozen", point.Value{V: 171.4, Quality: point.Uncertain, Cause: point.Frozen}, "≈ 171.4\u202f°C", "≈ 171\u202f°C", true},
		{"noisy", point.Value{V: 168.9, Quality: point.Uncertain, Cause: point.Jump}, "≈ 168.9\u202f°C", "≈ 169\u202f°C", true},
	} {
		b.change(func(s *record.Scan) {
			s.Image.In[point.Bean], s.Image.In[point.InletAir], s.Air.MeasuredC = c.value, c.value, c.value.V
		})
		b.until(fmt.Sprintf(`document.querySelector('.bignum')?.textContent === %q && document.querySelector('.strip[aria-label="Inlet air"] .value').textContent === %q`, c.big, c.strip))
		got := b.js(`(() => { const s = document.querySelector('.strip[aria-label="Inlet air"]'); return [document.querySelector('.bignum').classList.contains('hollow'), !!s.querySelector('.wedge'), !!s.querySelector('.wedge:not(.hollow)'), !!s.querySelector('.bar.bad'), s.classList.contains('doubt')].join(); })()`)
		if want := map[bool]string{false: "true,false,false,true,false", true: "true,true,false,false,true"}[c.bar]; got != want {
			t.Errorf("%s: hollow number, wedge, full wedge, empty bar, dashed frame: %s, want %s", c.name, got, want)
		}
		if zero := b.js(`[document.querySelector('.beanhead'), document.querySelector('.strip[aria-label="Inlet air"]')].map(e => e.innerText + ' ' + (e.getAttribute('aria-valuetext') || '')).join(' ').match(/(^|\s)0(\.0)?\s*°C/)?.[0] || ''`); zero != "" {
			t.Errorf("%s: says %q", c.name, zero)
		}
		if c.name == "open" {
			b.until(shown + `?.includes('no reading')`)
		}
		b.shots("probe-" + c.name)
	}
}

// Without colour, and with the three ways of seeing fewer, what a strip says of its
// loop is told apart by its pixels; and by words or shapes alone.
func TestStripsWithoutColour(t *testing.T) {
	peertest.OnceIsEnough(t)
	b := openBrowser(t)
	alarm := func(s *record.Scan, p record.Priority) {
		s.Alarms.Num = 1
		s.Alarms.List[0] = record.Alarm{ID: "inlet_high", Text: "Inlet air.", Priority: p, State: record.AlarmUnacknowledged}
	}
	inlet := `document.querySelector('.strip[aria-label="Inlet air"]')`
	conditions := []struct {
		name   string
		change func(*record.Scan)
		shown  string
	}{
		{"normal", func(*record.Scan) {}, `.innerText.includes('from bean loop')`},
		{"manual", func(s *record.Scan) { s.Air.Mode = record.Manual }, `.innerText.includes('MANUAL')`},
		{"at limit", func(s *record.Scan) { s.Air.Limited = true }, `.innerText.includes('at limit')`},
		{"warning", func(s *record.Scan) { alarm(s, record.PriorityMedium) }, `.classList.contains('p2')`},
		{"trip", func(s *record.Scan) { alarm(s, record.PriorityCritical) }, `.classList.contains('p1')`},
		{"uncertain", func(s *record.Scan) { s.Image.In[point.InletAir].Quality = point.Uncertain }, `.innerText.includes('≈')`},
		{"bad", func(s *record.Scan) { s.Image.In[point.InletAir].Quality = point.Bad }, `.innerText.includes('no reading')`},
		{"off", func(s *record.Scan) { s.Air.Mode, s.Permit[point.AirHeaterPower] = record.Off, 0 }, `.querySelector('.mode').textContent === 'off'`},
	}
	b.until(inlet)
	var clean record.Scan
	b.change(func(s *record.Scan) { s.Alarms.Num = 0; clean = *s })
	ways := []emulation.SetEmulatedVisionDeficiencyType{emulation.SetEmulatedVisionDeficiencyTypeAchromatopsia, emulation.SetEmulatedVisionDeficiencyTypeProtanopia,
		emulation.SetEmulatedVisionDeficiencyTypeDeuteranopia, emulation.SetEmulatedVisionDeficiencyTypeTritanopia}
	told := map[string]string{}
	seen := map[emulation.SetEmulatedVisionDeficiencyType][]image.Image{}
	for _, c := range conditions {
		b.change(func(s *record.Scan) {
			n, at := s.N, s.ScanS
			*s = clean
			s.N, s.ScanS = n, at
			c.change(s)
		})
		b.until(inlet + c.shown)
		// Words and shapes: texts, and what is drawn with its form but no colour.
		sign := b.js(`(() => { const s = ` + inlet + `; return s.innerText + [...s.querySelectorAll('path, rect, circle')].map(e => e.tagName + (e.getAttribute('d') || '') + (e.getAttribute('fill')?.startsWith('url') ? 'hatched' : '') + (e.classList.contains('hollow') ? 'hollow' : '')).join(' '); })()`)
		for name, other := range told {
			if other == sign {
				t.Errorf("%s and %s are the same but for colour", name, c.name)
			}
		}
		told[c.name] = sign
		for _, way := range ways {
			var png []byte
			b.do(emulation.SetEmulatedVisionDeficiency(way), chromedp.Screenshot(`.strip[aria-label="Inlet air"]`, &png, chromedp.ByQuery))
			img, _, err := image.Decode(bytes.NewReader(png))
			if err != nil {
				t.Fatal(err)
			}
			for i, other := range seen[way] {
				if n := differing(img, other); n < 60 {
					t.Errorf("%s: %s and %s differ in %d pixels", way, conditions[i].name, c.name, n)
				}
			}
			seen[way] = append(seen[way], img)
		}
	}
	b.do(emulation.SetEmulatedVisionDeficiency(emulation.SetEmulatedVisionDeficiencyTypeNone))
}

// differing counts the pixels whose lightness differs so that an eye sees it; of
// pictures of different sizes all differ.
func differing(a, b image.Image) int {
	if a.Bounds().Size() != b.Bounds().Size() {
		return a.Bounds().Dx() * a.Bounds().Dy()
	}
	n := 0
	light := func(m image.Image, x, y int) int {
		r, g, bl, _ := m.At(x+m.Bounds().Min.X, y+m.Bounds().Min.Y).RGBA()
		return int(299*(r>>8)+587*(g>>8)+114*(bl>>8)) / 1000
	}
	for y := range a.Bounds().Dy() {
		for x := range a.Bounds().Dx() {
			if d := light(a, x, y) - light(b, x, y); d > 60 || d < -60 {
				n++
			}
		}
	}
	return n
}
