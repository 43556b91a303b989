package report

import (
	"bytes"
	"math"
	"strconv"
	"strings"
	"testing"
)

func inventedOverview(text string) *Overview {
	nan := math.NaN()
	return &Overview{Title: text, About: text, Result: text, LanesFrom: "charge", Remarks: []string{text},
		Table: Table{Head: []string{text, text}, Rows: [][]string{{text, text}}},
		Rows:  []DotRow{{Name: text, Unit: "", Decimals: 1, Values: []float64{1, 2, nan, 4}, Chosen: 0}, {Name: "unknown", Values: []float64{nan, nan}, Chosen: -1}},
		Lanes: []Lane{{Title: "Bean probe, °C", Height: 80, Range: 8, S: []float64{0, 2, 4}, Low: []float64{1, 2, nan}, Q1: []float64{2, 3, nan},
			Q3: []float64{3, 4, nan}, High: []float64{4, 5, nan}, Pick: []float64{2, nan, 3}}},
		Charts: []ControlChart{{Title: text, Decimals: 1, IDs: []uint64{7, 8, 9}, Values: []float64{0, nan, 9}, Mean: []float64{0, nan, 1}, Upper: 3, Lower: -3,
			MeanUpper: 1, MeanLower: -1, Verdict: text, Base: text},
			{Title: "too few", IDs: []uint64{1}, Values: []float64{1}, NoLimits: true, Verdict: "Too few"}}}
}

func TestOverviewIsWellFormedAndTextStaysText(t *testing.T) {
	for _, h := range hostile {
		var b bytes.Buffer
		if err := WriteOverview(&b, inventedOverview(h)); err != nil {
			t.Fatal(err)
		}
		all, text := elements(t, b.Bytes())
		beyond, missing := false, strings.Contains(text, "not known of any batch")
		for _, e := range all {
			switch e.Name.Local {
			case "script", "img", "link", "iframe", "object", "embed", "base", "form", "a", "use", "image", "foreignObject":
				t.Errorf("%q: an element %s", h, e.Name.Local)
			}
			for _, a := range e.Attr {
				if n := strings.ToLower(a.Name.Local); strings.HasPrefix(n, "on") || n == "href" || n == "src" || n == "style" {
					t.Errorf("%q: attribute %s of %s", h, n, e.Name.Local)
				}
				beyond = beyond || a.Value == "beyond"
				if strings.Contains(a.Value, "NaN") {
					t.Errorf("%q: %s is drawn at %q", h, e.Name.Local, a.Value)
				}
			}
		}
		if !beyond || !missing {
			t.Errorf("%q: the batch beyond its limit is marked: %v; what is not known is said: %v", h, beyond, missing)
		}
	}
}

// A turn is noticed some seconds after it was, and what came between stands before it
// in the record.
func TestEventsInOrderOfTime(t *testing.T) {
	var b bytes.Buffer
	s := &Session{Batches: []Batch{{ID: 1, Events: []Event{{S: 0, Name: "first"}, {S: 95, Name: "third"}, {S: 80, Name: "second"}, {S: 95, Name: "fourth"}}}}}
	if err := Write(&b, s); err != nil {
		t.Fatal(err)
	}
	at := -1
	for _, name := range []string{"first", "second", "third", "fourth"} {
		i := strings.Index(b.String(), ">"+name+"<")
		if i < at || i < 0 {
			t.Errorf("%s stands at %d, what came before it at %d", name, i, at)
		}
		at = i
	}
}

// The least tick of a lane stands at its rim, and the title of the next lane does not
// stand on it: letters of 11 units, by the style sheet.
func TestLanesKeepClear(t *testing.T) {
	o := inventedOverview("x")
	o.Lanes = append(o.Lanes, o.Lanes[0], o.Lanes[0])
	for i := range o.Lanes {
		o.Lanes[i].Range = 20
	}
	var b bytes.Buffer
	if err := WriteOverview(&b, o); err != nil {
		t.Fatal(err)
	}
	all, _ := elements(t, b.Bytes())
	y := func(class string) (list []float64) {
		for _, e := range all {
			attr := map[string]string{}
			for _, a := range e.Attr {
				attr[a.Name.Local] = a.Value
			}
			if v, err := strconv.ParseFloat(attr["y"], 64); err == nil && attr["class"] == class {
				list = append(list, v)
			}
		}
		return list
	}
	for _, title := range y("title")[1:3] {
		for _, tick := range y("tick") {
			if tick < title && title-tick < 11 || tick >= title && tick-title < 6 {
				t.Errorf("a tick at %v and a title at %v", tick, title)
			}
		}
	}
}

func TestOverviewRefusesUnevenLanes(t *testing.T) {
	o := inventedOverview("x")
	o.Lanes[0].Pick = o.Lanes[0].Pick[:2]
	var b bytes.Buffer
	if err := WriteOverview(&b, o); err == nil || b.Len() > 0 {
		t.Errorf("%v, %d bytes written", err, b.Len())
	}
}

// Hyndman & Fan 1996, definition 7, is what the language R does by default; its
// quantile(c(1,2,4,8)) is 1, 1.75, 3, 5, 8 (worked by hand from the definition).
func TestQuartiles(t *testing.T) {
	if got := Quartiles([]float64{8, math.NaN(), 2, 1, 4}); got != [5]float64{1, 1.75, 3, 5, 8} {
		t.Errorf("quartiles %v", got)
	}
	if got := Quartiles([]float64{3}); got != [5]float64{3, 3, 3, 3, 3} {
		t.Errorf("of one value %v", got)
	}
	if got := Quartiles(nil); !math.IsNaN(got[2]) {
		t.Errorf("of none %v", got)
	}
}
