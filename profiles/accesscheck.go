package profiles

import (
	"fmt"
	"net"
	"net/netip"
	"strconv"
	"strings"
)

// checkAccess looks at who may look and command from where.
func (s *source) checkAccess(m *Machine) {
	a := &m.Access
	if a.View != "" {
		_, port, err := net.SplitHostPort(a.View)
		if n, bad := strconv.ParseUint(port, 10, 16); err != nil || bad != nil || n == 0 {
			s.fault("access.view", shown(a.View), "host:port", "write it like 0.0.0.0:8443")
		}
		if a.View == m.Telemetry.Listen {
			s.fault("access.view", shown(a.View), "another address than telemetry.listen", "take another port: who comes to view is not at the machine")
		}
	}
	for _, k := range []struct{ key, file, other, with string }{
		{"access.certificate", a.Certificate, a.Key, "access.key"}, {"access.key", a.Key, a.Certificate, "access.certificate"},
	} {
		switch {
		case k.file == "":
		case k.other == "":
			s.fault(k.key, "without "+k.with, "both or none", "name the file of the other too")
		case a.View == "":
			s.fault(k.key, "without access.view", "only with access.view", "name an address for viewers, or take it out")
		}
	}
	for i, n := range a.Names {
		if !hostName(n) {
			s.fault(fmt.Sprintf("access.names[%d]", i), shown(n), "a host name in small letters, without port", "write it like roaster.example.org")
		}
	}
	for i, p := range a.Proxies {
		if _, err := ParseNetwork(p); err != nil {
			s.fault(fmt.Sprintf("access.proxies[%d]", i), shown(p), "an address, or a range", "write it like 192.168.1.2 or 192.168.1.0/24")
		}
	}
}

// ParseNetwork reads an address, or a range of addresses.
func ParseNetwork(s string) (netip.Prefix, error) {
	if strings.Contains(s, "/") {
		return netip.ParsePrefix(s)
	}
	a, err := netip.ParseAddr(s)
	if err != nil {
		return netip.Prefix{}, err
	}
	return a.Prefix(a.BitLen())
}

func hostName(s string) bool {
	if s == "" || len(s) > 253 {
		return false
	}
	for label := range strings.SplitSeq(s, ".") {
		if label == "" || len(label) > 63 || strings.Trim(label, "abcdefghijklmnopqrstuvwxyz0123456789-") != "" || label[0] == '-' || label[len(label)-1] == '-' {
			return false
		}
	}
	return true
}
