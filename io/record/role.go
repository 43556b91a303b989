package record

import (
	"fmt"
	"slices"
)

// Role is what somebody may do. Each may do what those before it may.
type Role string

// The roles in rising order.
const (
	RoleNone     Role = ""
	RoleLook     Role = "look"     // see everything
	RoleOperate  Role = "operate"  // roast, and enter what is known of batches
	RoleEngineer Role = "engineer" // loops by hand, experiments, proof tests, what is learned, who did what
)

// Roles lists the roles that can be given.
var Roles = []Role{RoleLook, RoleOperate, RoleEngineer}

// Covers reports whether whoever has role r may do what needs the other.
func (r Role) Covers(need Role) bool {
	return need == RoleNone || slices.Index(Roles, r) >= slices.Index(Roles, need) && r != RoleNone
}

// ParseRole reads a role.
func ParseRole(s string) (Role, error) {
	if r := Role(s); slices.Contains(Roles, r) {
		return r, nil
	}
	return RoleNone, fmt.Errorf("role %q: allowed are %q", s, Roles)
}

// Need is the role that a command needs of somebody at the machine. What only
// takes heat away, answers an alarm or calls for help needs none: nobody is asked
// for a password while a machine is hot.
func (k Kind) Need() Role {
	switch k {
	case Stop, DropNow, Hold, Acknowledge, Silence, CallFire:
		return RoleNone
	case SetManual, SetAutomatic, TryLoop, TurnDrum:
		return RoleEngineer
	}
	return RoleOperate
}
