package panel

import (
	"context"
	"crypto/tls"
	"net"
	"net/http"
	"net/netip"
	"strings"

	"drumwright/io/record"
)

// visitor is who makes a request, from where, and what they may do.
type visitor struct {
	local   bool   // at the machine; see the package comment
	source  string // address, or "socket"
	secure  bool   // nobody on the way can read along
	account string // "" = not signed in
	role    record.Role
}

type (
	visitorKey struct{}
	peerKey    struct{}
)

// peer is the other end of a connection.
type peer struct {
	unix    bool
	here    bool // both ends are on this computer
	viewing bool // came to the address for viewers
	addr    netip.Addr
}

// markPeer notes with each connection where its other end is.
func markPeer(ctx context.Context, c net.Conn) context.Context {
	if t, ok := c.(*tls.Conn); ok {
		c = t.NetConn()
	}
	var p peer
	_, p.viewing = c.(viewConn)
	_, p.unix = c.LocalAddr().(*net.UnixAddr)
	if t, ok := c.RemoteAddr().(*net.TCPAddr); ok {
		p.addr = t.AddrPort().Addr().Unmap().WithZone("")
	}
	p.here = p.unix || loopbackAddr(c.LocalAddr()) && loopbackAddr(c.RemoteAddr())
	return context.WithValue(ctx, peerKey{}, p)
}

// relayed reports whether a proxy has had a request in its hands, by the headers
// in which it says so: the standard ones, and the names that are made for those who
// know no standard one, by some only one of them. Whoever sets one is not at the
// machine.
func relayed(r *http.Request) bool {
	for h := range r.Header {
		if h == "Via" || strings.HasPrefix(h, "Forwarded") || strings.HasPrefix(h, "X-Forwarded") || strings.HasPrefix(h, "X-Original") || strings.HasSuffix(h, "-Ip") {
			return true
		}
	}
	return false
}

// visit finds out who makes a request.
func (s *Server) visit(r *http.Request) visitor {
	p, _ := r.Context().Value(peerKey{}).(peer)
	v := visitor{local: p.here && !p.viewing && !relayed(r), secure: r.TLS != nil || p.here && !p.viewing && !relayed(r)}
	addr := p.addr
	if relayed(r) && s.trusted(p) {
		addr = s.sender(r, p)
		v.secure = strings.EqualFold(r.Header.Get("X-Forwarded-Proto"), "https")
	}
	switch {
	case p.unix && !relayed(r):
		v.source = "socket"
	case addr.IsValid():
		v.source = addr.String()
	default:
		v.source = "unknown"
	}
	asked := s.cfg.Accounts != nil && s.cfg.Accounts.Asked()
	if asked {
		if a, ok := s.cfg.Accounts.Session(tokenOf(r), r.URL.Path != streamPath); ok {
			v.account, v.role = a.Name, a.Role
		}
	}
	switch {
	case v.local && (!asked || p.unix):
		v.role = record.RoleEngineer // the rights of the socket are those of its file
	case v.local && v.role == record.RoleNone:
		v.role = record.RoleLook
	case v.local:
	case !asked:
		v.role = record.RoleLook
	case !s.cfg.Remote && v.role != record.RoleNone:
		v.role = record.RoleLook
	}
	return v
}

// trusted reports whether what a peer says about whom it relays is believed.
func (s *Server) trusted(p peer) bool {
	for _, t := range s.cfg.Proxies {
		if t.Contains(p.addr) || p.unix && t.Addr().IsLoopback() {
			return true
		}
	}
	return false
}

// sender is the last address in X-Forwarded-For that is no trusted proxy: what
// stands before it anybody could have written.
func (s *Server) sender(r *http.Request, p peer) netip.Addr {
	list := strings.Split(strings.Join(r.Header.Values("X-Forwarded-For"), ","), ",")
	at := p.addr
	for i := len(list) - 1; i >= 0; i-- {
		a, err := netip.ParseAddr(strings.TrimSpace(list[i]))
		if err != nil {
			break
		}
		at = a.Unmap().WithZone("")
		if !s.trusted(peer{addr: at}) {
			break
		}
	}
	return at
}

// network is the part of an address by which tries are counted: one subscriber has
// a whole /64 of IPv6 to choose from.
func network(source string) string {
	a, err := netip.ParseAddr(source)
	if err != nil || !a.Is6() {
		return source
	}
	p, err := a.Prefix(64)
	if err != nil {
		return source
	}
	return p.String()
}

func visitorOf(r *http.Request) visitor {
	v, _ := r.Context().Value(visitorKey{}).(visitor)
	return v
}

// local reports whether the request was made at the machine; see the package
// comment.
func local(r *http.Request) bool { return visitorOf(r).local }

// mayNot says why a visitor may not do what needs a role, "" if they may. What
// changes anything is taken from afar only where that is allowed.
func (s *Server) mayNot(v visitor, need record.Role, changes bool) string {
	switch {
	case changes && !v.local && !s.cfg.Remote:
		return "from here only looking is possible: go to the machine"
	case changes && !v.local && !v.role.Covers(record.RoleOperate):
		return "from here this needs an account with the role operate: sign in"
	case v.role.Covers(need):
		return ""
	case v.account != "":
		return "this needs the role " + string(need) + "; " + v.account + " has the role " + string(v.role)
	}
	return "sign in first: this needs an account with the role " + string(need)
}

// tokenOf is that of the session of a request, "" if there is none.
func tokenOf(r *http.Request) string {
	c, err := r.Cookie(cookieName)
	if err != nil {
		return ""
	}
	return c.Value
}
