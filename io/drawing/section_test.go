package drawing

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"

	"drumwright/control/drum"
)

func testPage(t *testing.T, paddles int, stages ...float64) Page {
	t.Helper()
	s := &drum.Setup{
		RadiusMM: drum.Figure{Value: 108, Uncertainty: 1}, LengthMM: drum.Figure{Value: 200}, SkinMMSPerHz: drum.Figure{Value: 6.6}, ShaftMM: drum.Figure{Value: 16},
		BatchG: drum.Figure{Value: 1000}, GreenKgPerM3: drum.Figure{Value: 700}, RoastedKgPerM3: drum.Figure{Value: 370}, TiltDeg: drum.Figure{Value: 40, Uncertainty: 5},
		FrictionDeg: drum.Figure{Value: 21}, BaseHz: 50, MinHz: 20, MaxHz: 70,
	}
	if paddles > 0 {
		s.Paddles, s.PaddleMM = paddles, drum.Figure{Value: 22}
	}
	pg := Page{Machine: `a <"&> drum`, Setup: s, Foot: []string{"not measured"}}
	var list []drum.Stage
	for i, x := range stages {
		st := drum.Stage{Name: "stage " + strconv.Itoa(i), LossFrac: x, SkinMMS: drum.Figure{Value: 425 * math.Exp(-1.85*x)}}
		r, err := s.Work(st)
		if err != nil {
			t.Fatal(err)
		}
		pg.Stages = append(pg.Stages, r)
		list = append(list, st)
	}
	var err error
	pg.Place, err = s.Put(list, drum.Probe{SheathMM: drum.Figure{Value: 1.5}, ImmersedMM: drum.Figure{Value: 30}, FilmWPerM2K: drum.Figure{Value: 100}})
	if err != nil {
		t.Fatal(err)
	}
	return pg
}

// texts reads the page as XML and gives every line of text; it fails on what is
// no XML, no number, or off the page.
func texts(t *testing.T, svg []byte) (all []string) {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(svg))
	in := false
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return all
		}
		if err != nil {
			t.Fatal(err)
		}
		switch x := tok.(type) {
		case xml.StartElement:
			in = x.Name.Local == "text"
			for _, a := range x.Attr {
				most := map[string]float64{"x": pageW, "y": pageH, "cx": pageW, "cy": pageH, "x1": pageW, "x2": pageW, "y1": pageH, "y2": pageH}[a.Name.Local]
				if most == 0 {
					continue
				}
				if v, err := strconv.ParseFloat(a.Value, 64); err != nil || !(v >= 0 && v <= most) {
					t.Errorf("%s has %s = %q", x.Name.Local, a.Name.Local, a.Value)
				}
			}
		case xml.CharData:
			if in {
				all = append(all, string(x))
			}
		case xml.EndElement:
			in = false
		}
	}
}

func TestCrossSection(t *testing.T) {
	for name, c := range map[string]struct {
		pg   Page
		want []string
		not  string
	}{
		"with paddles": {testPage(t, 4, 0, 0.06, 0.12, 0.2), []string{"shoulder of the bed", "toe of the bed", "paddle", "shaft", "last beans off", "hatched", "bean probe", "stage 3", "Large drawing 1 : 2 ", "anticlockwise"}, ""},
		"smooth":       {testPage(t, 0, 0), []string{"shoulder of the bed", "shaft"}, "paddle,"},
	} {
		for _, clockwise := range []bool{false, true} {
			c.pg.Clockwise = clockwise
			svg, err := CrossSection(c.pg)
			if err != nil {
				t.Fatal(err)
			}
			all := strings.ReplaceAll(strings.Join(texts(t, svg), " "), nbsp, " ")
			for _, w := range c.want {
				if w == "anticlockwise" && clockwise {
					w = "turns clockwise"
				}
				if !strings.Contains(all, w) {
					t.Errorf("%s: no %q on the page", name, w)
				}
			}
			if c.not != "" && strings.Contains(all, c.not) {
				t.Errorf("%s: %q on the page", name, c.not)
			}
			if bytes.Contains(svg, []byte("NaN")) || bytes.Contains(svg, []byte("Inf")) {
				t.Errorf("%s: a coordinate is no number", name)
			}
			again, err := CrossSection(c.pg)
			if err != nil || !bytes.Equal(svg, again) {
				t.Errorf("%s: drawn twice, it differs (%v)", name, err)
			}
		}
	}
}

// The drawing is to its scale: the wall's inner edge is the radius, and the
// probe stands where the figures say.
func TestScale(t *testing.T) {
	pg := testPage(t, 4, 0)
	svg, err := CrossSection(pg)
	if err != nil {
		t.Fatal(err)
	}
	// 108 mm at 1 : 2, and half the thickness of the wall outside it.
	if want := `<circle cx="93.00" cy="100.00" r="54.60"`; !bytes.Contains(svg, []byte(want)) {
		t.Errorf("no %s", want)
	}
	at := pg.Place.Best.XY(108)
	if d := 108 - math.Hypot(at.X, at.Y); math.Abs(d-pg.Place.Best.WallMM) > 1e-9 {
		t.Errorf("probe drawn %g mm from the wall, placed %g", d, pg.Place.Best.WallMM)
	}
}

func TestCrossSectionRefuses(t *testing.T) {
	pg := testPage(t, 4, 0)
	for _, bad := range []Page{{}, {Setup: pg.Setup}, {Setup: pg.Setup, Stages: make([]*drum.StageResult, 7)}} {
		if _, err := CrossSection(bad); err == nil {
			t.Error("accepted")
		}
	}
}
