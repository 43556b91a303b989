package panel

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"drumwright/io/record"
)

func TestDecodeCommand(t *testing.T) {
	for _, c := range []struct {
		body string
		want record.Command
		err  string
	}{
		{`{"kind":"charged"}`, record.Command{Kind: record.Charged}, ""},
		{` {"who":"Ada","kind":"drop"} `, record.Command{Kind: record.DropNow, Who: "Ada"}, ""},
		{`{"kind":"load-recipe","recipe":"washed light"}`, record.Command{Kind: record.LoadRecipe, Recipe: "washed light"}, ""},
		{`{"kind":"manual","loop":"air","value":0}`, record.Command{Kind: record.SetManual, Loop: "air"}, ""},
		{`{"kind":"manual","loop":"base","value":1.0}`, record.Command{Kind: record.SetManual, Loop: "base", Value: 1}, ""},
		{`{"kind":"automatic","loop":"base"}`, record.Command{Kind: record.SetAutomatic, Loop: "base"}, ""},

		{`{"kind":"acknowledge"}`, record.Command{Kind: record.Acknowledge}, ""},
		{`{"kind":"acknowledge","cause":"bean_high","who":"Ada"}`, record.Command{Kind: record.Acknowledge, Cause: "bean_high", Who: "Ada"}, ""},
		{`{"kind":"silence","who":"Ada"}`, record.Command{Kind: record.Silence, Who: "Ada"}, ""},

		{``, record.Command{}, "not a JSON object"},
		{`[]`, record.Command{}, "not a JSON object"},
		{`"charged"`, record.Command{}, "not a JSON object"},
		{`{}`, record.Command{}, "not one of"},
		{`{"kind":"charged"`, record.Command{}, "not JSON"},
		{`{"kind":"charged"}}`, record.Command{}, "follows"},
		{`{"kind":"charged"}{"kind":"stop"}`, record.Command{}, "follows"},
		{`{"kind":"charged","kind":"stop"}`, record.Command{}, "twice"},
		{`{"Kind":"charged"}`, record.Command{}, "not known"},
		{`{"kind":"Charged"}`, record.Command{}, "not one of"},
		{`{"kind":"charged","local":"true"}`, record.Command{}, "not known"},
		{`{"kind":"reset","local":true}`, record.Command{}, "not known"},
		{`{"kind":null}`, record.Command{}, "not a text"},
		{`{"kind":{"a":1}}`, record.Command{}, "not a text"},
		{`{"kind":"charged","value":0.5}`, record.Command{}, "takes no"},
		{`{"kind":"acknowledge","cause":""}`, record.Command{}, "leave it out for all"},
		{`{"kind":"acknowledge","cause":7}`, record.Command{}, "not a text"},
		{`{"kind":"acknowledge","cause":"a\u0007"}`, record.Command{}, "cannot be printed"},
		{`{"kind":"acknowledge","cause":"` + strings.Repeat("x", 65) + `"}`, record.Command{}, "longer"},
		{`{"kind":"silence","cause":"bean_high"}`, record.Command{}, "takes no"},
		{`{"kind":"load-recipe"}`, record.Command{}, "needs"},
		{`{"kind":"load-recipe","recipe":""}`, record.Command{}, "recipe folder"},
		{`{"kind":"load-recipe","recipe":"../secret"}`, record.Command{}, "recipe folder"},
		{`{"kind":"load-recipe","recipe":"a\\b"}`, record.Command{}, "recipe folder"},
		{`{"kind":"load-recipe","recipe":".hidden"}`, record.Command{}, "recipe folder"},
		{`{"kind":"load-recipe","recipe":"a\u0000b"}`, record.Command{}, "cannot be printed"},
		{`{"kind":"load-recipe","recipe":"` + strings.Repeat("x", 101) + `"}`, record.Command{}, "longer"},
		{`{"kind":"manual","loop":"air"}`, record.Command{}, "needs"},
		{`{"kind":"manual","value":0.5}`, record.Command{}, "needs"},
		{`{"kind":"manual","loop":"drum","value":0.5}`, record.Command{}, "air"},
		{`{"kind":"manual","loop":"air","value":1.01}`, record.Command{}, "from 0 to 1"},
		{`{"kind":"manual","loop":"air","value":-0.01}`, record.Command{}, "from 0 to 1"},
		{`{"kind":"manual","loop":"air","value":"1"}`, record.Command{}, "not a number"},
		{`{"kind":"manual","loop":"air","value":1e999}`, record.Command{}, "not JSON"},
		{`{"kind":"manual","loop":"air","value":NaN}`, record.Command{}, "not JSON"},
		{`{"kind":"turn-drum","skin_mm_per_s":380}`, record.Command{Kind: record.TurnDrum, SkinMMPerS: 380}, ""},
		{`{"kind":"drop-at","drop_c":212.5}`, record.Command{Kind: record.DropAt, DropC: 212.5}, ""},
		{`{"kind":"drop-at"}`, record.Command{}, "needs \"drop_c\""},
		{`{"kind":"drop-at","drop_c":301}`, record.Command{}, "0 to 300 °C"},
		{`{"kind":"longer","drop_c":212}`, record.Command{}, "takes no"},
		{`{"kind":"turn-drum","skin_mm_per_s":-1}`, record.Command{}, "0 to 2000 mm/s"},
		{`{"kind":"turn-drum"}`, record.Command{}, "needs"},
		{`{"kind":"charged","who":"a\nb"}`, record.Command{}, "cannot be printed"},
		{"{\"kind\":\"charged\",\"who\":\"\xff\"}", record.Command{}, "UTF-8"},
	} {
		got, err := decodeCommand([]byte(c.body))
		if c.err == "" && (err != nil || got != c.want) {
			t.Errorf("%s gives %+v, %v; want %+v", c.body, got, err, c.want)
		}
		if c.err != "" && (err == nil || !strings.Contains(err.Error(), c.err)) {
			t.Errorf("%s gives the error %v, want %q in it", c.body, err, c.err)
		}
	}
}

// Every command that the machine knows can be given.
func TestEveryKindCanBeGiven(t *testing.T) {
	for _, k := range record.Kinds {
		m := map[string]any{"kind": k}
		for _, n := range needs[k] {
			m[n] = map[string]any{"recipe": "r", "loop": "air", "value": 0.5, "method": "step", "limit_k": 10, "skin_mm_per_s": 380, "drop_c": 212}[n]
		}
		b, _ := json.Marshal(m)
		if c, err := decodeCommand(b); err != nil || c.Kind != k {
			t.Errorf("%s: %+v, %v", b, c, err)
		}
	}
}

// Whatever the bytes: no panic, never Local, and what is taken is within what
// the machine understands and is the same when read again.
func FuzzDecodeCommand(f *testing.F) {
	for _, s := range []string{`{"kind":"charged"}`, `{"kind":"manual","loop":"air","value":0.25,"who":"Ada"}`, `{"kind":"load-recipe","recipe":"r"}`,
		`{"kind":"automatic","loop":"base"}`, `{"kind":"acknowledge","cause":"c"}`, `{"kind":"stop","kind":"reset"}`, `{"kind":["stop"]}`, `[{}]`, `{"value":1e400}`, `{"kind":"stop"`, "\xff"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		c, err := decodeCommand(b)
		if err != nil {
			return
		}
		if !slices.Contains(record.Kinds[:], c.Kind) || c.Local || !(c.Value >= 0 && c.Value <= 1) || strings.ContainsAny(c.Recipe, "/\\\x00") ||
			!slices.Contains([]string{"", "air", "base"}, c.Loop) {
			t.Fatalf("%q is taken as %+v", b, c)
		}
		m := map[string]any{"kind": c.Kind, "who": c.Who}
		for _, n := range needs[c.Kind] {
			m[n] = map[string]any{"recipe": c.Recipe, "loop": c.Loop, "value": c.Value, "method": c.Method, "limit_k": c.LimitK, "skin_mm_per_s": c.SkinMMPerS, "drop_c": c.DropC}[n]
		}
		if c.FlowKgPerH != 0 {
			m["flow_kg_per_h"] = c.FlowKgPerH
		}
		if c.Cause != "" {
			m["cause"] = c.Cause
		}
		again, err := json.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		if d, err := decodeCommand(again); err != nil || d != c {
			t.Fatalf("%q is taken as %+v, but %s as %+v, %v", b, c, again, d, err)
		}
		// encoding/json, laxer, must not see another command in what is taken here.
		var lax record.Command
		if err := json.Unmarshal(b, &lax); err != nil || lax != c {
			t.Fatalf("%q is taken as %+v, by encoding/json as %+v, %v", b, c, lax, err)
		}
	})
}
