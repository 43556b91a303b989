package proof

import (
	"reflect"
	"testing"

	"drumwright/profiles"
)

// A list without entries is [] to whoever reads the tests as JSON, never null.
func TestListsAreNeverNull(t *testing.T) {
	for _, test := range Tests(&profiles.Machine{}) {
		v := reflect.ValueOf(test)
		for i := range v.NumField() {
			if f := v.Field(i); f.Kind() == reflect.Slice && f.IsNil() {
				t.Errorf("%s: %s is null", test.ID, v.Type().Field(i).Name)
			}
		}
	}
}
