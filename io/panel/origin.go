package panel

import (
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strings"
)

// foreign says why a request is not answered at all, "" if it is. A browser on
// this computer shows pages from anywhere: without these checks each could
// command the machine (cross-site request forgery), or read it under a name
// that it points at the loopback address (DNS rebinding).
func (s *Server) foreign(r *http.Request) string {
	host := strings.ToLower(r.Host)
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	host = strings.Trim(host, "[]")
	p, _ := r.Context().Value(peerKey{}).(peer)
	switch {
	case host == "localhost" || loopback(host):
	case p.viewing && isAddress(host): // no name leads here by that
	case (p.viewing || relayed(r)) && slices.Contains(s.cfg.Names, host):
	case p.viewing || relayed(r):
		return "the Host header names another computer; use its address, or list the name under access.names in the machine file"
	default:
		return "the Host header names another computer; use 127.0.0.1 or localhost"
	}
	scheme := "http://"
	if overTLS(r) {
		scheme = "https://"
	}
	if o := r.Header.Get("Origin"); o != "" && o != scheme+r.Host {
		return "the request comes from a page of another origin"
	}
	switch r.Header.Get("Sec-Fetch-Site") {
	case "", "none", "same-origin":
		return ""
	}
	return "the request comes from a page of another site"
}

// overTLS reports whether the visitor's browser speaks TLS, to here or to a proxy
// that is trusted.
func overTLS(r *http.Request) bool {
	return r.TLS != nil || relayed(r) && visitorOf(r).secure
}

func isAddress(host string) bool {
	_, err := netip.ParseAddr(host)
	return err == nil
}

func loopback(host string) bool {
	a, err := netip.ParseAddr(host)
	return err == nil && a.Unmap().IsLoopback()
}

func loopbackAddr(a net.Addr) bool {
	t, ok := a.(*net.TCPAddr)
	return ok && t.IP.IsLoopback()
}
