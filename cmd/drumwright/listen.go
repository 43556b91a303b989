package main

import (
	"errors"
	"fmt"
	"io"
	"net"
	"net/netip"
	"os"
	"strings"

	"drumwright/io/access"
	"drumwright/io/panel"
	"drumwright/profiles"
)

// listenFor opens every address that the machine file names for people and
// programs, or none.
func listenFor(m *profiles.Machine) (open []net.Listener, err error) {
	defer func() {
		if err != nil {
			for _, l := range open {
				l.Close()
			}
		}
	}()
	add := func(l net.Listener, err error) error {
		if err == nil {
			open = append(open, l)
		}
		return err
	}
	err = add(panel.Listen(listenAddress(m)))
	if err == nil && m.Access.Socket != "" {
		err = add(panel.Listen("unix:" + m.Access.Socket))
	}
	if err == nil && m.Access.View != "" {
		err = add(panel.ListenView(m.Access.View, m.Access.Certificate, m.Access.Key))
	}
	return open, err
}

// accessOf is whom the panel believes, and by which names it may be called.
func accessOf(m *profiles.Machine) (proxies []netip.Prefix, names []string, err error) {
	for _, p := range m.Access.Proxies {
		n, err := profiles.ParseNetwork(p)
		if err != nil {
			return nil, nil, err // the check of the file lets none through
		}
		proxies = append(proxies, n)
	}
	names = append(names, m.Access.Names...)
	if h, err := os.Hostname(); err == nil && h != "" {
		h = strings.ToLower(h)
		names = append(names, h, h+".local")
	}
	return proxies, names, nil
}

// describeAccess says who may look and command from where.
func describeAccess(w io.Writer, m *profiles.Machine) {
	a := &m.Access
	fmt.Fprintln(w, "\nWho may look and command")
	list, err := access.Read(access.FileOf(m.Telemetry.Journal))
	if errors.Is(err, os.ErrPermission) {
		printWrapped(w, "  ", "accounts: not readable to you")
	} else if err != nil {
		printWrapped(w, "  ", "nobody can sign in: "+err.Error())
	} else {
		printWrapped(w, "  ", access.Describe(list))
	}
	printWrapped(w, "  ", "at the machine: "+m.Telemetry.Listen+"; holding, dropping, stopping, acknowledging and the fire screen never need a password there")
	if a.Socket != "" {
		printWrapped(w, "  ", "socket "+a.Socket+": whoever may write to it may do everything, without a password")
	}
	if a.View == "" && len(a.Proxies) == 0 {
		fmt.Fprintln(w, "  from elsewhere: nothing, unless a proxy or a tunnel on this computer leads here")
		return
	}
	what := "looking only"
	if a.Remote && len(list) > 0 {
		what = "looking; whoever has signed in with the role operate or engineer may also hold, drop, stop, acknowledge by name, load a recipe while no heat is in use, and enter what is known of batches"
	}
	printWrapped(w, "  ", "from elsewhere: "+what)
	if a.View != "" {
		how := "not encrypted: nobody can sign in there"
		if a.Certificate != "" {
			how = "encrypted, certificate " + a.Certificate
		}
		printWrapped(w, "  ", "viewers at "+a.View+": "+how)
		if a.Certificate == "" && len(list) > 0 {
			printWrapped(w, "  ", "there are accounts and no certificate: nobody can look from there; add access.certificate, or put a proxy with TLS before it and list it under access.proxies")
		}
	}
}
