package report

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"drumwright/io/record"
)

// elements reads the page as strict XML, which it is meant to be as well, and
// returns its elements and its text.
func elements(t *testing.T, page []byte) (all []xml.StartElement, text string) {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(page))
	var b strings.Builder
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return all, b.String()
		}
		if err != nil {
			t.Fatalf("the page is not well formed: %v", err)
		}
		switch tok := tok.(type) {
		case xml.StartElement:
			all = append(all, tok.Copy())
		case xml.CharData:
			b.Write(tok)
		}
	}
}

// hostile texts after the kinds listed in the OWASP cross-site scripting
// filter evasion cheat sheet (kinds from memory, strings our own).
var hostile = []string{
	`<script>alert(1)</script>`,
	`"><img src=x onerror=alert(1)>`,
	`' onmouseover='alert(1)`,
	`</text></svg><script>alert(1)</script>`,
	`</style><style>@import "https://example.invalid/x.css";`,
	`<!--`, `]]>`, `&lt;script&gt;`, `{{.Machine}}`, `javascript:alert(1)`,
	"\x00<b>\x1b[31m\xff\xfe</b>", "\u202egnp.exe\u2066",
	strings.Repeat("<", 300),
}

func TestHostileTextStaysText(t *testing.T) {
	for _, h := range hostile {
		plain, _ := elements(t, written(t, sessionWithText(harmless(h))))
		page := written(t, sessionWithText(h))
		got, text := elements(t, page)
		if len(got) != len(plain) {
			t.Errorf("%q: %d elements, %d with harmless text", h, len(got), len(plain))
		}
		for _, e := range got {
			switch e.Name.Local {
			case "script", "img", "link", "iframe", "object", "embed", "base", "form", "a", "use", "image", "foreignObject":
				t.Errorf("%q: an element %s", h, e.Name.Local)
			}
			for _, a := range e.Attr {
				if n := strings.ToLower(a.Name.Local); strings.HasPrefix(n, "on") || n == "href" || n == "src" || n == "style" {
					t.Errorf("%q: attribute %s of %s", h, n, e.Name.Local)
				}
			}
		}
		if n := strings.Count(text, clean(h)); clean(h) != "" && n < 9 {
			t.Errorf("%q is shown %d times as text, want all 9 places in full", h, n)
		}
		if strings.ContainsAny(text, "\x00\x1b\u202e\u2066") {
			t.Errorf("%q: a control character or direction mark is left", h)
		}
	}
}

// harmless is a text of the same shape without any meaning to a browser. The
// shape matters: long text leaves less height, so fewer ticks, to the plots.
func harmless(h string) string {
	return strings.Map(func(r rune) rune {
		if r == ' ' {
			return r
		}
		return 'x'
	}, clean(h))
}

// sessionWithText puts the text in every place that takes one.
func sessionWithText(h string) *Session {
	b := inventedBatch(1, 60, 0)
	b.Events = []Event{{10, record.Milestone, h, h}, {20, record.Trip, h, h}}
	b.Figures = []Figure{{h, h, h}}
	return &Session{Machine: h, Site: h, Recipe: h, Note: h, Batches: []Batch{b}, Remarks: []string{h}}
}

func TestPageNeedsNothingElse(t *testing.T) {
	page := string(written(t, inventedSession()))
	// The name space of SVG is a name, not an address that is fetched.
	rest := strings.ReplaceAll(page, `xmlns="http://www.w3.org/2000/svg"`, "")
	for _, bad := range []string{"http:", "https:", "//", "url(", "@import", "<script", "<link", "src="} {
		if strings.Contains(rest, bad) {
			t.Errorf("the page contains %q", bad)
		}
	}
	if !strings.Contains(page, `content="default-src 'none'; style-src 'unsafe-inline'"`) {
		t.Error("the page does not forbid fetching")
	}
}

func TestPageIsSmall(t *testing.T) {
	const most = 200_000
	for _, noise := range []float64{0, 0.4, 3} {
		s := inventedSession()
		s.Batches = []Batch{inventedBatch(1, 720, noise)}
		if n := len(written(t, s)); n > most {
			t.Errorf("12 minutes with noise %v K make %d bytes, more than %d", noise, n, most)
		} else {
			t.Logf("12 minutes with noise %v K: %d bytes", noise, n)
		}
	}
}

var (
	lineOf = func(class string) *regexp.Regexp {
		return regexp.MustCompile(`<path class="line ` + class + `" d="([^"]*)"`)
	}
	nums = regexp.MustCompile(`-?[0-9.]+`)
)

// drawn returns the runs of the first line of that class, as x coordinates.
func drawn(page []byte, class string) (runs [][]float64) {
	m := lineOf(class).FindSubmatch(page)
	if m == nil {
		return nil
	}
	for run := range strings.SplitSeq(strings.TrimPrefix(string(m[1]), "M"), "M") {
		var xs []float64
		for i, n := range nums.FindAllString(run, -1) {
			if v, err := strconv.ParseFloat(n, 64); err == nil && i%2 == 0 {
				xs = append(xs, v)
			}
		}
		runs = append(runs, xs)
	}
	return runs
}

func TestGapIsDrawnAsGap(t *testing.T) {
	s := inventedSession()
	b := &s.Batches[0]
	axis := newTimeAxis(b.Samples)
	runs := drawn(written(t, s), "thin") // exhaust air, open from 300 s to 324 s
	if len(runs) != 2 {
		t.Fatalf("exhaust air is drawn in %d pieces, want 2", len(runs))
	}
	end, start := runs[0][len(runs[0])-1], runs[1][0]
	if math.Abs(end-axis.x(299)) > 0.06 || math.Abs(start-axis.x(325)) > 0.06 {
		t.Errorf("the gap goes from x %v to %v, want %v to %v", end, start, axis.x(299), axis.x(325))
	}
}

func TestNothingKnownDrawsNothing(t *testing.T) {
	nan := math.NaN()
	b := Batch{ID: 1}
	for i := range 60 {
		b.Samples = append(b.Samples, Sample{float64(i), nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan})
	}
	page := written(t, &Session{Batches: []Batch{b}})
	if bytes.Contains(page, []byte(`class="line`)) || bytes.Contains(page, []byte("NaN")) {
		t.Error("something is drawn though nothing is known")
	}
	want := 0
	for _, p := range panels() {
		want += len(p.lines) + len(p.bands)
	}
	if got := bytes.Count(page, []byte(": not known<")); got != want {
		t.Errorf("%d curves are named as not known, want all %d", got, want)
	}
}

func TestOffScaleIsSaid(t *testing.T) {
	s := inventedSession()
	b := &s.Batches[0]
	for i := 400; i < 420; i++ {
		b.Samples[i].ProbeC = b.Samples[i].TargetC + 14
	}
	page := written(t, s)
	if !bytes.Contains(page, []byte("up to 14.0<")) {
		t.Error("a probe 14 K above target is not named as off the ±8 °C scale")
	}
	if n := bytes.Count(page, []byte(`class="rim"`)); n != 2 { // with the rise right after charge
		t.Errorf("%d panels mark their rim, want 2", n)
	}
}

func TestOddSessionsAreDrawn(t *testing.T) {
	one := Batch{ID: 1, Samples: []Sample{whole}}
	wild := inventedBatch(2, 60, 0)
	for i := range wild.Samples {
		d := &wild.Samples[i]
		d.ProbeC, d.TargetC, d.InletC, d.SkinC = math.MaxFloat64, -math.MaxFloat64, math.Inf(1), 1e-300
		d.Loss, d.LossSd = 1e9, 1e9
	}
	wild.Events = []Event{{math.NaN(), record.Trip, "unplaced", ""}, {math.Inf(1), record.Milestone, "never", ""}, {-1e300, record.Note, "", ""}}
	for name, s := range map[string]*Session{
		"empty":       {},
		"no samples":  {Batches: []Batch{{ID: 1}}},
		"one sample":  {Batches: []Batch{one}},
		"wild values": {Batches: []Batch{wild}},
		"two":         {Batches: []Batch{one, inventedBatch(2, 60, 0)}},
	} {
		page := written(t, s)
		elements(t, page)
		for _, bad := range []string{"NaN", "Inf", "e+", "%!"} {
			if bytes.Contains(page, []byte(bad)) {
				t.Errorf("%s: the page contains %q", name, bad)
			}
		}
	}
}

func TestTimeMustGrow(t *testing.T) {
	for _, s := range [][]float64{{0, 1, 1}, {0, 2, 1}, {0, math.NaN()}, {math.Inf(1)}} {
		b := Batch{ID: 7}
		for _, s := range s {
			b.Samples = append(b.Samples, Sample{S: s})
		}
		var w bytes.Buffer
		err := Write(&w, &Session{Batches: []Batch{b}})
		if err == nil || !strings.Contains(err.Error(), fmt.Sprintf("batch 7, sample %d", len(s)-1)) {
			t.Errorf("%v: error %v does not name the sample", s, err)
		}
		if w.Len() > 0 {
			t.Errorf("%v: something was written all the same", s)
		}
	}
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, io.ErrShortWrite }

func TestWriteSaysWhenItCannot(t *testing.T) {
	if err := Write(full{}, inventedSession()); !errors.Is(err, io.ErrShortWrite) {
		t.Errorf("error %v, want the writer's own", err)
	}
}

func FuzzTextStaysText(f *testing.F) {
	for _, h := range hostile {
		f.Add(h)
	}
	f.Fuzz(func(t *testing.T, h string) {
		plain, _ := elements(t, written(t, sessionWithText(harmless(h))))
		if got, _ := elements(t, written(t, sessionWithText(h))); len(got) != len(plain) {
			t.Errorf("%q: %d elements, %d with harmless text", h, len(got), len(plain))
		}
	})
}
