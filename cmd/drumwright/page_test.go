package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"drumwright/io/peertest"
	"drumwright/io/record"
	"drumwright/profiles"
)

// A shop's morning by clicking, in a real browser on the whole daemon: choose a
// recipe, warm, charge, let it drop, empty the tray, run down; then the batch is in
// the list. The machine is simulated and plays faster than anybody could hear a
// first crack.
func TestMorningByClicking(t *testing.T) {
	peertest.OnceIsEnough(t)
	if testing.Short() {
		t.Skip("a whole batch")
	}
	chromium := peertest.Find(t, "chromium")
	dir := t.TempDir()
	file, err := practiceFolder(dir, "heron-1000")
	if err != nil {
		t.Fatal(err)
	}
	text, _ := profiles.Example("machines/heron-1000.yaml")
	address := peertest.FreeAddress(t)
	text = bytes.Replace(text, []byte("listen: 127.0.0.1:8420"), []byte("listen: "+address), 1)
	if i := bytes.Index(text, []byte("  mqtt:")); i > 0 {
		text = text[:i] // no broker here
	}
	if err := os.WriteFile(file, text, 0o600); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	var out, log peertest.Buffer
	ended := make(chan error, 1)
	go func() { ended <- serve(ctx, file, &serveOptions{logLevel: "warn", practice: 200}, &out, &log) }()
	defer func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	}()

	alloc, endAlloc := chromedp.NewExecAllocator(context.Background(), append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(chromium), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.WSURLReadTimeout(time.Minute))...)
	defer endAlloc()
	tab, endTab := chromedp.NewContext(alloc)
	defer endTab()
	tab, endTime := context.WithTimeout(tab, 4*time.Minute)
	defer endTime()
	do := func(what string, actions ...chromedp.Action) {
		t.Helper()
		if err := chromedp.Run(tab, actions...); err != nil {
			var answer string
			_ = chromedp.Run(tab, chromedp.Evaluate(`document.querySelector('.answer')?.textContent || ''`, &answer)) // the first failure counts
			t.Fatalf("%s: %v; the machine is %s; the page answered %q; the hands: %s; the log: %s", what, err, state(address), answer, out.String(), log.String())
		}
	}
	until := func(expression string) chromedp.Action {
		return chromedp.Poll(expression, nil, chromedp.WithPollingTimeout(time.Minute), chromedp.WithPollingInterval(20*time.Millisecond))
	}
	headline := func(begins string) chromedp.Action {
		return until(fmt.Sprintf(`document.querySelector('#headline')?.textContent.startsWith(%q)`, begins))
	}
	// hold presses like a finger: down, 0.9 s, up.
	hold := func(kind string) chromedp.Action {
		return chromedp.Evaluate(fmt.Sprintf(`(() => { const e = document.querySelector('[data-kind=%q]'), r = e.getBoundingClientRect(), at = {bubbles: true, button: 0, pointerId: 1, clientX: r.left + 5, clientY: r.top + 5};
			e.setPointerCapture = () => {}; e.dispatchEvent(new PointerEvent('pointerdown', at)); setTimeout(() => e.dispatchEvent(new PointerEvent('pointerup', at)), 900); })()`, kind), nil)
	}
	// button waits for a button that has stood still: buttons that have just moved
	// heed no finger.
	button := func(kind string) chromedp.Action {
		return until(fmt.Sprintf(`document.querySelector('[data-kind=%q]') && performance.now() - Number(document.querySelector('#commands').dataset.moved) > 350`, kind))
	}
	// again does something until what it brings about is there: on a loaded computer
	// a picture can be too old to act on for a moment, and what has just moved heeds
	// no finger; a person presses again.
	again := func(what, then string, actions ...chromedp.Action) {
		t.Helper()
		for range 10 {
			do(what, actions...)
			if chromedp.Run(tab, chromedp.Poll(then, nil, chromedp.WithPollingTimeout(5*time.Second))) == nil {
				return
			}
		}
		do(what, until(then))
	}
	press := func(kind, then string) {
		t.Helper()
		again(kind, fmt.Sprintf(`document.querySelector('#headline')?.textContent.startsWith(%q)`, then), button(kind), hold(kind))
	}
	click := func(selector, then string) {
		t.Helper()
		again(selector, then, chromedp.Click(selector))
	}
	peertest.Eventually(t, time.Minute, "the daemon", func() bool { return state(address) == "cold" })
	do("open", chromedp.EmulateViewport(1280, 800), chromedp.Navigate("http://"+address+"/"), headline("Off"))
	click(`a[href="#recipes"]`, `document.querySelector('a[href="#recipes/harbour-medium"]')`)
	click(`a[href="#recipes/harbour-medium"]`, `[...document.querySelectorAll('button')].some(b => b.innerText.includes('Load for next batch'))`)
	again("choose", `document.querySelector('[data-kind="warm"]')`, chromedp.Evaluate(`[...document.querySelectorAll('button')].find(b => b.innerText.includes('Load for next batch'))?.click()`, nil))
	do("load", button("warm"))
	press("warm", "Warming")
	do("ready", headline("Ready for beans"), button("charged"))
	// fill writes into the fields of the form of that summary and sends it.
	fill := func(summary string, fields ...string) chromedp.Action {
		var b strings.Builder
		for i := 0; i < len(fields); i += 2 {
			fmt.Fprintf(&b, `{ const f = [...d.querySelectorAll('label')].find(l => l.textContent.startsWith(%q)).querySelector('input,textarea'); f.value = %q; f.dispatchEvent(new Event('input')); }`, fields[i], fields[i+1])
		}
		return chromedp.Evaluate(fmt.Sprintf(`(() => { const d = [...document.querySelectorAll('details')].find(d => d.querySelector('summary').textContent.startsWith(%q)); d.open = true; %s d.querySelector('form button').click(); })()`, summary, b.String()), nil)
	}
	form := func(summary string) chromedp.Action {
		return until(fmt.Sprintf(`[...document.querySelectorAll('details summary')].some(s => s.textContent.startsWith(%q))`, summary))
	}
	do("green coffee", form("Green coffee"), fill("Green coffee", "Lot", "lot <27>", "Charge mass", "980,5"), until(`document.querySelector('dialog [name=who]')`),
		chromedp.SendKeys(`dialog [name=who]`, "Ada"), chromedp.Click(`dialog [value=yes]`), form("Green coffee: lot <27> · 981"))
	press("charged", "Roasting")
	do("drop", headline("Beans cooling"))
	do("empty", headline("Warming")) // cooled by the tray's probe
	press("stop", "Cooling down")
	click(`a[href="#batches"]`, `document.querySelector('.row strong')?.textContent.includes('harbour-medium')`)
	click(`.row`, `document.querySelector('.detail h2')?.textContent.includes('dropped')`)
	do("weight", form("Roasted mass: waiting"), fill("Roasted mass", "Roasted mass", "841"), until(`document.querySelector('.detail').textContent.includes('loss 14.2')`), form("Roasted mass"), fill("Roasted mass", "Roasted mass", "839.5"), until(`document.querySelector('.detail').textContent.includes('0.841 kg')`))
	do("note", form("Notes"), fill("Notes", "A further note", "smells of <b>jasmine</b>"), form("Notes (1)"), fill("Notes (1)", "Note 1", "smells of jasmine"), until(`['smells of <b>jasmine</b>', 'smells of jasmine'].every(x => [...document.querySelectorAll('.detail td')].some(c => c.textContent === x)) && document.querySelector('.detail').textContent.includes('Kept: 1 entry')`))
	do("cup", form("Cup"), fill("Cup", "Aroma", "8,25", "Total", "85.5"), form("Cup: 85.5 of 100"), fill("Cup", "Body", "eight"), until(`document.querySelector('.detail').textContent.includes('is no number')`))
	do("recipe of it", chromedp.Click(`a[href^="#recipes/+"]`), until(`document.querySelector('#lint')?.textContent.includes('No faults')`),
		chromedp.Evaluate(`{ const a = document.querySelector('textarea.code'); a.value = a.value.replace('moisture: 11 %', 'moisture: 99 %'); a.dispatchEvent(new Event('input')); }`, nil), until(`document.querySelector('#lint pre')?.textContent.includes('charge.moisture')`),
		chromedp.Evaluate(`{ const a = document.querySelector('textarea.code'); a.value = a.value.replace('moisture: 99 %', 'moisture: 11 %'); a.dispatchEvent(new Event('input')); [...document.querySelectorAll('.editor button')].find(b => b.innerText.includes('Keep recipe')).click(); }`, nil),
		until(`document.querySelector('.detail h2')?.textContent === 'as batch 1' && document.querySelector('.detail').textContent.includes('This machine can follow it')`))
	// The report goes on one page of either paper.
	do("report", chromedp.Navigate("http://"+address+"/api/v1/batches/1/report"), until(`document.querySelector('h1')?.textContent.includes('Batch 1')`))
	for _, inches := range [][2]float64{{8.27, 11.69}, {8.5, 11}} {
		do("print", chromedp.ActionFunc(func(ctx context.Context) error {
			pdf, _, err := page.PrintToPDF().WithPaperWidth(inches[0]).WithPaperHeight(inches[1]).WithPreferCSSPageSize(false).Do(ctx)
			if n := len(regexp.MustCompile(`/Type\s*/Page\b`).FindAll(pdf, -1)); err == nil && n != 1 {
				t.Errorf("printed on %d pages of %v in", n, inches)
			}
			return err
		}))
	}

	res, err := http.Get("http://" + address + "/api/v1/batches")
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	var kept struct{ Batches []record.KeptBatch }
	if err := json.NewDecoder(res.Body).Decode(&kept); err != nil {
		t.Fatal(err)
	}
	if len(kept.Batches) != 1 || kept.Batches[0].Result != record.BatchDone || !(kept.Batches[0].DropC > 200) {
		t.Errorf("kept: %+v", kept.Batches)
	}
	if k := kept.Batches[0]; k.Lot != "lot <27>" || k.WeighedKg != 0.8395 || k.WeighedGreenKg != 0.9805 || k.Notes != 1 || k.CupTotal != 85.5 {
		t.Errorf("entered: %+v", k)
	}
	for _, want := range []string{"beans are poured in", "The door is opened", "The tray is emptied"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("the hands never said %q: %s", want, out.String())
		}
	}
	if _, err := os.Stat(filepath.Join(dir, "drumwright.db")); err != nil {
		t.Error(err)
	}
}

// state is the state that the daemon tells, "" if it tells none.
func state(address string) string {
	res, err := http.Get("http://" + address + "/api/v1/state")
	if err != nil {
		return ""
	}
	defer res.Body.Close()
	var v record.View
	if json.NewDecoder(res.Body).Decode(&v) != nil {
		return ""
	}
	return v.State
}
