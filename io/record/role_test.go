package record

import (
	"slices"
	"testing"
)

// Who stands at a hot machine must be able to make it safe without a password, and
// nothing that needs none may set anything in motion or give heat.
func TestWhatNeedsNoPassword(t *testing.T) {
	free := []Kind{DropNow, Hold, Stop, Acknowledge, Silence, CallFire}
	for _, k := range Kinds {
		if got := k.Need() == RoleNone; got != slices.Contains(free, k) {
			t.Errorf("%s needs no role: %v", k, got)
		}
	}
	for _, k := range free {
		if !RoleNone.Covers(k.Need()) {
			t.Errorf("%s is refused to somebody without a role", k)
		}
	}
}

func TestRolesRise(t *testing.T) {
	all := []Role{RoleNone, RoleLook, RoleOperate, RoleEngineer}
	for i, r := range all {
		for j, need := range all {
			if got := r.Covers(need); got != (i >= j) {
				t.Errorf("%q covers %q: %v", r, need, got)
			}
		}
	}
	if _, err := ParseRole(""); err == nil {
		t.Error("no role can be given")
	}
	if Role("root").Covers(RoleLook) || !Role("root").Covers(RoleNone) {
		t.Error("a role that is not known covers something")
	}
}
