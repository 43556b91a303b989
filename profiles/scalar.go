package profiles

import (
	"fmt"
	"math"
	"reflect"
	"strconv"
	"strings"

	"gopkg.in/yaml.v3"
)

// readScalar reads one value: text, true or false, a number, or a quantity.
func (s *source) readScalar(n *yaml.Node, key string, v reflect.Value, tag reflect.StructTag) {
	allowed := allowedText(v.Type(), tag)
	refuse := func(hint string) { s.add(n.Line, key, describe(n), allowed, hint) }
	if n.Kind != yaml.ScalarNode {
		refuse("write one value")
		return
	}
	if n.Tag == "!!null" {
		refuse("give a value or take the key out")
		return
	}
	quoted := n.Style&(yaml.DoubleQuotedStyle|yaml.SingleQuotedStyle|yaml.LiteralStyle|yaml.FoldedStyle) != 0
	if d := dimensionOf(v.Type(), tag); d != nil {
		f, err := d.parse(n.Value)
		if err != nil {
			refuse(err.Error())
			return
		}
		s.setNumber(n, key, v, tag, f)
		return
	}
	if v.Type() == triggerType {
		t, err := ParseTrigger(n.Value)
		if err != nil {
			hint, _, _ := strings.Cut(err.Error(), ";")
			refuse(hint)
			return
		}
		v.Set(reflect.ValueOf(t))
		return
	}
	switch v.Kind() {
	case reflect.String:
		if !quoted && n.Tag != "!!str" && n.Tag != "!!timestamp" { // a date is text as it stands
			refuse("put quotes around it if it is meant as text")
			return
		}
		if words := tag.Get("enum"); words != "" {
			list := strings.Split(words, ",")
			for _, w := range list {
				if w == n.Value {
					v.SetString(w)
					return
				}
			}
			refuse(instead(n.Value, list))
			return
		}
		if n.Value == "" {
			refuse("write something or take the key out")
			return
		}
		v.SetString(n.Value)
	case reflect.Bool:
		switch {
		case !quoted && n.Value == "true":
			v.SetBool(true)
		case !quoted && n.Value == "false":
			v.SetBool(false)
		default:
			refuse("write true or false, without quotes")
		}
	case reflect.Int:
		i, err := wholeNumber(n.Value)
		if quoted || err != nil {
			refuse("write plain digits, or 0x and hexadecimal digits")
			return
		}
		if s.within(n, key, float64(i), v.Type(), tag) {
			v.SetInt(int64(i))
		}
	case reflect.Float64:
		f, err := plainNumber(n.Value)
		if quoted || err != nil {
			refuse("write a plain decimal number")
			return
		}
		s.setNumber(n, key, v, tag, f)
	default:
		panic(fmt.Sprintf("profiles: no way to read %s into %s", key, v.Type()))
	}
}

func (s *source) setNumber(n *yaml.Node, key string, v reflect.Value, tag reflect.StructTag, f float64) {
	if s.within(n, key, f, v.Type(), tag) {
		v.SetFloat(f)
	}
}

// within checks the range tag.
func (s *source) within(n *yaml.Node, key string, f float64, t reflect.Type, tag reflect.StructTag) bool {
	lo, hi, ok := span(tag)
	if !ok || (f >= lo && f <= hi) {
		return true
	}
	found := shown(n.Value)
	if d := dimensionOf(t, tag); d != nil {
		if held := d.text(math.Round(f*100) / 100); held != found {
			found += " (" + held + ")"
		}
	}
	s.add(n.Line, key, found, allowedText(t, tag), "choose a value in between")
	return false
}

// span is the range tag as numbers.
func span(tag reflect.StructTag) (lo, hi float64, ok bool) {
	text := tag.Get("range")
	if text == "" {
		return 0, 0, false
	}
	a, b, _ := strings.Cut(text, "..")
	lo, errLo := strconv.ParseFloat(a, 64)
	hi, errHi := strconv.ParseFloat(b, 64)
	if errLo != nil || errHi != nil {
		panic("profiles: range tag " + text)
	}
	return lo, hi, true
}

// allowedText says what a value may be, from its type and tag.
func allowedText(t reflect.Type, tag reflect.StructTag) string {
	lo, hi, ranged := span(tag)
	if d := dimensionOf(t, tag); d != nil {
		if ranged {
			return d.text(lo) + " to " + d.text(hi)
		}
		return "a number in " + d.names()
	}
	if t == triggerType {
		return triggerForms
	}
	number := func(what string) string {
		if ranged {
			return fmt.Sprintf("%s from %v to %v", what, lo, hi)
		}
		return what
	}
	switch t.Kind() {
	case reflect.Pointer:
		return allowedText(t.Elem(), tag)
	case reflect.Struct, reflect.Map:
		return "its keys below it"
	case reflect.Slice:
		return "a list"
	case reflect.String:
		if words := tag.Get("enum"); words != "" {
			return strings.ReplaceAll(words, ",", ", ")
		}
		return "text"
	case reflect.Bool:
		return "true or false"
	case reflect.Int:
		return number("a whole number")
	}
	return number("a number")
}

// wholeNumber reads plain decimal digits or 0x and hexadecimal digits. Leading
// zeros and underscores are refused, because readers disagree about them.
func wholeNumber(text string) (int, error) {
	digits := strings.TrimPrefix(text, "-")
	if hex, ok := strings.CutPrefix(text, "0x"); ok {
		i, err := strconv.ParseUint(hex, 16, 31)
		return int(i), err
	}
	if digits == "" || leadingNumber(text) != text || strings.Contains(text, ".") || (len(digits) > 1 && digits[0] == '0') {
		return 0, strconv.ErrSyntax
	}
	i, err := strconv.ParseInt(text, 10, 32)
	return int(i), err
}

// plainNumber reads a decimal number, with an exponent if need be.
func plainNumber(text string) (float64, error) {
	mantissa, exp, has := strings.Cut(strings.ToLower(text), "e")
	whole, _, _ := strings.Cut(strings.TrimPrefix(mantissa, "-"), ".")
	if leadingNumber(mantissa) != mantissa || mantissa == "" || (len(whole) > 1 && whole[0] == '0') {
		return 0, strconv.ErrSyntax
	}
	if has {
		if _, err := strconv.ParseInt(exp, 10, 16); err != nil || strings.Contains(exp, "_") {
			return 0, strconv.ErrSyntax
		}
	}
	f, err := strconv.ParseFloat(text, 64)
	if err == nil && (math.IsInf(f, 0) || math.IsNaN(f)) {
		err = strconv.ErrRange
	}
	return f, err
}
