package panel

import (
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"os"
	"sync"
	"time"
)

// mostViewers bounds the connections to the address for viewers, so that those at
// the machine always get theirs.
const mostViewers = 128

// ListenView opens the address for viewers, host:port: whoever comes there is not
// at the machine, also from this computer. With a certificate it speaks TLS; the
// files are read again when they have changed.
func ListenView(address, certificate, key string) (net.Listener, error) {
	var c *tls.Config
	if certificate != "" {
		k := &keyPair{certificate: certificate, key: key}
		if _, err := k.get(nil); err != nil {
			return nil, fmt.Errorf("access.certificate: %w", err)
		}
		c = &tls.Config{GetCertificate: k.get, MinVersion: tls.VersionTLS12, NextProtos: []string{"http/1.1"}}
	}
	l, err := net.Listen("tcp", address)
	if err != nil {
		return nil, fmt.Errorf("access.view: %w", err)
	}
	l = &viewListener{Listener: l, room: make(chan struct{}, mostViewers), closed: make(chan struct{})}
	if c != nil {
		l = tls.NewListener(l, c)
	}
	return l, nil
}

type viewListener struct {
	net.Listener
	room   chan struct{}
	closed chan struct{}
	once   sync.Once
}

// Accept waits until there is room.
func (l *viewListener) Accept() (net.Conn, error) {
	select {
	case l.room <- struct{}{}:
	case <-l.closed:
		return nil, net.ErrClosed
	}
	c, err := l.Listener.Accept()
	if err != nil {
		<-l.room
		return nil, err
	}
	return viewConn{&counted{Conn: c, gone: func() { <-l.room }}}, nil
}

// Close ends the listener, also one that waits for room.
func (l *viewListener) Close() error {
	l.once.Do(func() { close(l.closed) })
	return l.Listener.Close()
}

// viewConn is a connection to the address for viewers.
type viewConn struct{ net.Conn }

type counted struct {
	net.Conn
	once sync.Once
	gone func()
}

// Close makes room for another.
func (c *counted) Close() error {
	err := c.Conn.Close()
	c.once.Do(c.gone)
	return err
}

// keyPair is a certificate in files that may be renewed while it is served.
type keyPair struct {
	certificate, key string

	mu     sync.Mutex
	pair   *tls.Certificate
	stamps [2]time.Time
}

func (k *keyPair) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	var now [2]time.Time
	var errs [2]error
	for i, f := range []string{k.certificate, k.key} {
		fi, err := os.Stat(f)
		if errs[i] = err; err == nil {
			now[i] = fi.ModTime()
		}
	}
	if k.pair != nil && now == k.stamps {
		return k.pair, nil
	}
	err := errors.Join(errs[:]...)
	if err == nil {
		var pair tls.Certificate
		if pair, err = tls.LoadX509KeyPair(k.certificate, k.key); err == nil {
			k.pair, k.stamps = &pair, now
		}
	}
	if k.pair != nil {
		return k.pair, nil // half renewed, or gone: the old one is better than none
	}
	return nil, err
}
