package panel

import (
	"context"
	"net"
	"net/http"
	"net/netip"
	"strings"
)

type localKey struct{}

// markLocal notes with each connection whether its other end is on this
// computer.
func markLocal(ctx context.Context, c net.Conn) context.Context {
	_, unix := c.LocalAddr().(*net.UnixAddr)
	return context.WithValue(ctx, localKey{}, unix || loopbackAddr(c.LocalAddr()) && loopbackAddr(c.RemoteAddr()))
}

// local reports whether the request was made at the machine; see the package
// comment.
func local(r *http.Request) bool {
	on, _ := r.Context().Value(localKey{}).(bool)
	for _, h := range []string{"Forwarded", "X-Forwarded-For", "X-Real-Ip", "Via"} {
		on = on && len(r.Header.Values(h)) == 0
	}
	return on
}

// foreign says why a request is not answered at all, "" if it is. A browser on
// this computer shows pages from anywhere: without these checks each could
// command the machine (cross-site request forgery), or read it under a name
// that it points at the loopback address (DNS rebinding).
func foreign(r *http.Request) string {
	host := r.Host
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	if host != "localhost" && !loopback(strings.Trim(host, "[]")) {
		return "the Host header names another computer; use 127.0.0.1 or localhost"
	}
	if o := r.Header.Get("Origin"); o != "" && o != "http://"+r.Host {
		return "the request comes from a page of another origin"
	}
	switch r.Header.Get("Sec-Fetch-Site") {
	case "", "none", "same-origin":
		return ""
	}
	return "the request comes from a page of another site"
}

func loopback(host string) bool {
	a, err := netip.ParseAddr(host)
	return err == nil && a.Unmap().IsLoopback()
}

func loopbackAddr(a net.Addr) bool {
	t, ok := a.(*net.TCPAddr)
	return ok && t.IP.IsLoopback()
}
