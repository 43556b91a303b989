package panel_test

import (
	"fmt"
	"regexp"
	"strings"
	"testing"

	"drumwright/io/peertest"
	"drumwright/io/record"
	"drumwright/io/say"
)

// moment is what the page says and offers at one moment of a machine. {} stands for a
// figure with its unit. Buttons in their order, the first is the main one; (h) must be
// held. What is refused stands with its reason.
type moment struct {
	name, headline, next string
	buttons              string
	notNow               []string
}

// like reports whether a text is as a pattern has it.
func like(text, pattern string) bool {
	p := strings.ReplaceAll(regexp.QuoteMeta(pattern), `\{\}`, `[−0-9][^:;]*?`)
	return regexp.MustCompile("^" + p + "$").MatchString(strings.ReplaceAll(text, "\u202f", " "))
}

func (m *moment) compare(t *testing.T, n *say.Now) {
	t.Helper()
	if !like(n.Headline, m.headline) {
		t.Errorf("%s: headline %q, want %q", m.name, n.Headline, m.headline)
	}
	if !like(n.Next, m.next) {
		t.Errorf("%s: next %q, want %q", m.name, n.Next, m.next)
	}
	var buttons, notNow []string
	for _, b := range n.Buttons {
		buttons = append(buttons, b.Label+map[bool]string{true: " (h)"}[b.Hold])
	}
	if got := strings.ReplaceAll(strings.Join(buttons, " · "), "\u202f", " "); got != m.buttons {
		t.Errorf("%s: buttons %q, want %q", m.name, got, m.buttons)
	}
	for _, r := range n.NotNow {
		notNow = append(notNow, r.Label+": "+r.Why)
	}
	for i := range max(len(notNow), len(m.notNow)) {
		if i >= len(notNow) || i >= len(m.notNow) || !like(notNow[i], m.notNow[i]) {
			t.Errorf("%s: not now %q, want %q", m.name, notNow, m.notNow)
			break
		}
	}
}

// show lets the page show what the machine has come to, and compares each word of it
// with the daemon's.
func (b *browser) show(name string, s *record.Scan) {
	b.Helper()
	b.change(func(x *record.Scan) {
		at, n := x.ScanS, x.N
		*x = *s
		x.ScanS, x.N, x.NumEvents = at, n, 0
	})
	v, a := record.NewView(s), record.NewAlarmsView(s)
	n := say.Of(&v, &a)
	var buttons, notNow []string
	for _, k := range n.Buttons {
		buttons = append(buttons, k.Label)
	}
	for _, r := range n.NotNow {
		notNow = append(notNow, r.Label+": "+r.Why)
	}
	b.until(fmt.Sprintf(`(() => { const t = q => [...document.querySelectorAll(q)].map(e => e.textContent).join('|');
		return t('#headline') === %q && t('.nexttext') === %q && t('#commands [data-kind] .label') === %q && t('.notnow li') === %q && t('.outlook p') === %q; })()`,
		n.Headline, n.Next, strings.Join(buttons, "|"), strings.Join(notNow, "|"), strings.Join(n.Outlook, "|")))
	if odd := b.js(`(document.body.innerText.match(/NaN|undefined|null|Infinity|\[object/g) || []).join()`); odd != "" {
		b.Errorf("%s: the page says %s", name, odd)
	}
	b.shot("told-" + strings.ReplaceAll(name, " ", "-"))
}

// The words of every state and of what lies over it, on the simulated machine and by
// its own faults: headline, next, buttons and refusals are those of the table, and the
// page shows just these. No button has a command that is refused; what is refused has
// its reason and what would allow it.
func TestWordsOfEveryState(t *testing.T) {
	peertest.OnceIsEnough(t)
	var b *browser
	if !testing.Short() {
		b = openBrowser(t)
	}
	seen := map[string]bool{}
	told := func(f *floor, m moment) {
		t.Helper()
		s := &f.last
		v, a := record.NewView(s), record.NewAlarmsView(s)
		n := say.Of(&v, &a)
		m.compare(t, &n)
		seen[s.State] = true
		refused := map[record.Kind]string{}
		for _, c := range v.Commands {
			refused[c.Kind] = c.Refused
		}
		for _, k := range append(n.Buttons, n.Others...) {
			if why := refused[k.Kind]; why != "" {
				t.Errorf("%s: %s has a button and is refused: %s", m.name, k.Kind, why)
			}
		}
		if strings.Contains(n.Headline+n.Next, "NaN") || strings.Contains(strings.Join(n.Outlook, " "), "–") {
			t.Errorf("%s: a number that is not known: %q", m.name, n.Outlook)
		}
		if b != nil && !n.Fire { // the fire screen has a test of its own
			b.show(m.name, s)
		}
	}
	theDay(t, told)
	theRoast(t, told)
	theTrips(t, told)
	theRestarts(t, told)
	for _, state := range strings.Fields("cold warming ready charging roasting discharging cooling run-down held tripped") {
		if !seen[state] {
			t.Errorf("the state %s was never seen", state)
		}
	}
}

const (
	isIn   = "Beans are in: Beans are in the drum already. Drop them first."
	noLoad = "Load recipe: A batch is running. Load the next recipe when the beans are out."
	stands = "Start warming: A trip stands. Reset it first."
	late   = "Change remaining target: Too late: the drop is less than a minute away. Use 15 s longer, or drop by hand."
)
