package panel

import (
	"bufio"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"fmt"
	"io"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"drumwright/io/record"
	"drumwright/io/record/recordtest"
)

// ownCertificate makes a certificate as a shop makes its own, for the loopback
// address and roaster.example, and writes it over the two files.
func ownCertificate(t *testing.T, certificate, key string, serial int64) *x509.Certificate {
	t.Helper()
	secret, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	about := &x509.Certificate{SerialNumber: big.NewInt(serial), Subject: pkix.Name{CommonName: "the shop's own"}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, DNSNames: []string{"roaster.example"}, KeyUsage: x509.KeyUsageDigitalSignature, BasicConstraintsValid: true, IsCA: true}
	der, err := x509.CreateCertificate(rand.Reader, about, about, &secret.PublicKey, secret)
	if err != nil {
		t.Fatal(err)
	}
	private, err := x509.MarshalPKCS8PrivateKey(secret)
	if err != nil {
		t.Fatal(err)
	}
	writePEM(t, certificate, "CERTIFICATE", der, serial)
	writePEM(t, key, "PRIVATE KEY", private, serial)
	made, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	return made
}

// writePEM gives each writing a time of its own, however fast one follows another.
func writePEM(t *testing.T, path, kind string, der []byte, serial int64) {
	t.Helper()
	if err := os.WriteFile(path, pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: der}), 0o600); err != nil {
		t.Fatal(err)
	}
	at := time.Unix(1.7e9+serial, 0)
	if err := os.Chtimes(path, at, at); err != nil {
		t.Fatal(err)
	}
}

// serveOn runs a panel on listeners until the test ends.
func serveOn(t *testing.T, s *Server, l ...net.Listener) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- s.Serve(ctx, l...) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Errorf("Serve: %v", err)
		}
	})
}

// browserOf speaks TLS as a browser does that has been told to trust a certificate.
func browserOf(trusted *x509.Certificate, change func(*tls.Config)) *http.Client {
	c := &tls.Config{RootCAs: x509.NewCertPool()}
	if trusted != nil {
		c.RootCAs.AddCert(trusted)
	}
	if change != nil {
		change(c)
	}
	return &http.Client{Timeout: 10 * time.Second, Transport: &http.Transport{DisableKeepAlives: true, TLSClientConfig: c}}
}

// The address for viewers speaks TLS with a certificate of the shop's own and
// nothing else, nothing older than 1.2 (RFC 8996), and takes up a renewed certificate
// while it runs, once it is whole.
func TestViewOverTLS(t *testing.T) {
	dir := t.TempDir()
	certificate, key := filepath.Join(dir, "shop.pem"), filepath.Join(dir, "shop.key")
	first := ownCertificate(t, certificate, key, 1)
	l, err := ListenView("127.0.0.1:0", certificate, key)
	if err != nil {
		t.Fatal(err)
	}
	s, _, _ := guardedPanel(true, true)
	serveOn(t, s, l)
	url := "https://" + l.Addr().String()

	serial := func(trusted *x509.Certificate) int64 {
		t.Helper()
		resp, err := browserOf(trusted, nil).Get(url + sessionPath)
		if err != nil {
			t.Fatal(err)
		}
		body, _ := io.ReadAll(resp.Body)
		resp.Body.Close()
		if want := `{"account":"","role":"","asked":true,"at_machine":false,"commands":false,"secure":true}`; strings.TrimSpace(string(body)) != want {
			t.Errorf("over TLS the session is %s, want %s", body, want)
		}
		return resp.TLS.PeerCertificates[0].SerialNumber.Int64()
	}
	if n := serial(first); n != 1 {
		t.Errorf("certificate %d", n)
	}

	r, _ := http.NewRequest("POST", url+sessionPath, strings.NewReader(`{"account":"operate","password":"open sesame"}`))
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Origin", url)
	resp, err := browserOf(first, nil).Do(r)
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	if c := resp.Header.Get("Set-Cookie"); resp.StatusCode != 201 || !strings.Contains(c, "; Secure") || !strings.Contains(c, "; HttpOnly") || !strings.Contains(c, "; SameSite=Strict") {
		t.Errorf("signing in over TLS: %s, cookie %q", resp.Status, c)
	}

	if _, err := browserOf(nil, nil).Get(url + "/healthz"); err == nil || !strings.Contains(err.Error(), "unknown authority") {
		t.Errorf("a browser that does not know the certificate: %v", err)
	}
	for version, name := range map[uint16]string{tls.VersionTLS10: "1.0", tls.VersionTLS11: "1.1"} {
		old := browserOf(first, func(c *tls.Config) { c.MinVersion, c.MaxVersion = version, version })
		if _, err := old.Get(url + "/healthz"); err == nil || !strings.Contains(err.Error(), "protocol version") {
			t.Errorf("TLS %s: %v", name, err)
		}
	}
	plain, err := http.Get("http://" + l.Addr().String() + "/healthz")
	if err != nil {
		t.Fatal(err)
	}
	plain.Body.Close()
	if plain.StatusCode != 400 {
		t.Errorf("without TLS: %s", plain.Status)
	}

	second := ownCertificate(t, certificate, key, 2)
	if n := serial(second); n != 2 {
		t.Errorf("after renewal: certificate %d", n)
	}
	ownCertificate(t, certificate, filepath.Join(dir, "not yet here"), 3)
	if n := serial(second); n != 2 {
		t.Errorf("half renewed: certificate %d", n)
	}
	if err := os.Remove(key); err != nil {
		t.Fatal(err)
	}
	if n := serial(second); n != 2 {
		t.Errorf("without its key: certificate %d", n)
	}
	fourth := ownCertificate(t, certificate, key, 4)
	if n := serial(fourth); n != 4 {
		t.Errorf("wholly renewed at last: certificate %d", n)
	}
}

// What cannot be served with is found before anybody comes.
func TestViewRefusesBadCertificates(t *testing.T) {
	dir := t.TempDir()
	file := func(name string) string { return filepath.Join(dir, name) }
	ownCertificate(t, file("a.pem"), file("a.key"), 1)
	ownCertificate(t, file("b.pem"), file("b.key"), 2)
	if err := os.WriteFile(file("empty"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for name, x := range map[string][3]string{
		"none there":        {file("none.pem"), file("a.key"), "none.pem"},
		"no key there":      {file("a.pem"), file("none.key"), "none.key"},
		"key of another":    {file("a.pem"), file("b.key"), "private key does not match public key"},
		"empty certificate": {file("empty"), file("a.key"), "find any PEM data"},
		"key as both":       {file("a.key"), file("a.key"), "PEM"},
	} {
		l, err := ListenView("127.0.0.1:0", x[0], x[1])
		if err == nil {
			l.Close()
		}
		if err == nil || !strings.HasPrefix(err.Error(), "access.certificate: ") || !strings.Contains(err.Error(), x[2]) {
			t.Errorf("%s: %v, want access.certificate and %q", name, err, x[2])
		}
	}
	if l, err := ListenView("192.0.2.1:0", "", ""); err == nil || !strings.HasPrefix(err.Error(), "access.view: ") {
		if err == nil {
			l.Close()
		}
		t.Errorf("an address that is not this computer's: %v", err)
	}
}

// Over a real connection to the address for viewers, even from this computer:
// nothing but looking where remote is not set, whoever has signed in; where it is,
// a command reaches the machine only as one from afar.
func TestViewOnlyLooks(t *testing.T) {
	for _, remote := range []bool{false, true} {
		dir := t.TempDir()
		made := ownCertificate(t, filepath.Join(dir, "pem"), filepath.Join(dir, "key"), 1)
		l, err := ListenView("127.0.0.1:0", filepath.Join(dir, "pem"), filepath.Join(dir, "key"))
		if err != nil {
			t.Fatal(err)
		}
		s, o, led := guardedPanel(true, remote)
		serveOn(t, s, l)
		web := browserOf(made, nil)
		ask := func(method, path, body string) int {
			t.Helper()
			r, _ := http.NewRequest(method, "https://"+l.Addr().String()+path, strings.NewReader(body))
			r.Header.Set("Content-Type", "application/json")
			r.AddCookie(&http.Cookie{Name: cookieName, Value: "engineer"})
			resp, err := web.Do(r)
			if err != nil {
				t.Fatal(err)
			}
			resp.Body.Close()
			return resp.StatusCode
		}
		if code := ask("GET", "/api/v1/state", ""); code != 200 {
			t.Errorf("remote %v: looking: %d", remote, code)
		}
		for _, k := range record.Kinds {
			o.got = nil
			code := ask("POST", commandPath, goodCommand(k))
			switch {
			case !remote && (code != 403 || o.got != nil):
				t.Errorf("%s from a viewer: %d, the machine got %+v", k, code, o.got)
			case remote && len(o.got) == 1 && o.got[0].Local:
				t.Errorf("%s from a viewer counts as given at the machine", k)
			case remote && len(o.got) != 1:
				t.Errorf("%s from an engineer elsewhere, where that is allowed: %d", k, code)
			}
		}
		// What is not a command changes the shop's own record at most, and that
		// only where it is allowed.
		for _, route := range s.routes() {
			if route.method == "GET" || route.path == commandPath || route.path == sessionPath {
				continue
			}
			path := strings.NewReplacer("{id}", "41", "{name}", "plain").Replace(route.path)
			if code := ask(route.method, path, `{}`); !remote && code != 403 || code < 300 {
				t.Errorf("remote %v: %s %s from a viewer: %d", remote, route.method, path, code)
			}
		}
		for _, a := range led.got {
			if a.Local || !remote && a.Accepted {
				t.Errorf("remote %v: noted as %+v", remote, a)
			}
		}
	}
}

// Whoever has signed out, or whose session has ended, is shown nothing more, also where
// the stream was open before.
func TestStreamEndsWithItsSession(t *testing.T) {
	l, err := ListenView("127.0.0.1:0", "", "")
	if err != nil {
		t.Fatal(err)
	}
	s, _, _ := guardedPanel(true, false)
	serveOn(t, s, l)
	eventually(t, "the panel is open", func() bool { s.stream.mu.Lock(); defer s.stream.mu.Unlock(); return s.stream.open })
	ask := func(method, path string) *http.Response {
		t.Helper()
		r, _ := http.NewRequest(method, "http://"+l.Addr().String()+path, nil)
		r.AddCookie(&http.Cookie{Name: cookieName, Value: "look"})
		resp, err := (&http.Client{Timeout: 10 * time.Second, Transport: &http.Transport{DisableKeepAlives: true}}).Do(r)
		if err != nil {
			t.Fatal(err)
		}
		return resp
	}
	watching := ask("GET", streamPath)
	defer watching.Body.Close()
	if watching.StatusCode != 200 {
		t.Fatalf("the stream: %s", watching.Status)
	}
	ended := make(chan error, 1)
	go func() {
		_, err := io.Copy(io.Discard, watching.Body)
		ended <- err
	}()
	ask("DELETE", sessionPath).Body.Close()
	n := 0
	eventually(t, "the stream has ended", func() bool {
		n++
		sc := recordtest.At(n)
		s.Put(&sc)
		select {
		case err := <-ended:
			if err != nil {
				t.Errorf("the stream ended by %v, not by the server", err)
			}
			return true
		default:
			return false
		}
	})
}

// goodCommand is a command of that kind with all that it needs.
func goodCommand(k record.Kind) string {
	m := map[string]string{"recipe": `"plain"`, "loop": `"air"`, "value": "0.5", "method": `"step"`, "limit_k": "10", "skin_mm_per_s": "380", "drop_c": "212"}
	b := fmt.Sprintf(`{"kind":%q,"who":"Ada"`, k)
	for _, n := range needs[k] {
		b += fmt.Sprintf(",%q:%s", n, m[n])
	}
	return b + "}"
}

// However many connections viewers open and leave idle, those at the machine get
// theirs, and a viewer who goes makes room for one who waits.
func TestViewersLeaveRoom(t *testing.T) {
	view, err := ListenView("127.0.0.1:0", "", "")
	if err != nil {
		t.Fatal(err)
	}
	tcp, err := Listen("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s, _ := fresh()
	serveOn(t, s, view, tcp)
	room := view.(*viewListener).room
	var idle []net.Conn
	for range mostViewers {
		c, err := net.Dial("tcp", view.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		idle = append(idle, c)
	}
	eventually(t, "all places are taken", func() bool { return len(room) == mostViewers })
	late, err := net.Dial("tcp", view.Addr().String()) // waits in the system's own queue
	if err != nil {
		t.Fatal(err)
	}
	defer late.Close()
	fmt.Fprintf(late, "GET /healthz HTTP/1.1\r\nHost: %s\r\n\r\n", view.Addr())
	resp, err := (&http.Client{Timeout: 10 * time.Second, Transport: &http.Transport{DisableKeepAlives: true}}).Get("http://" + tcp.Addr().String() + "/healthz")
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	if resp.StatusCode != 200 || len(room) != mostViewers {
		t.Errorf("at the machine: %s, with %d viewers", resp.Status, len(room))
	}
	idle[0].Close()
	late.SetDeadline(time.Now().Add(10 * time.Second))
	if line, err := bufio.NewReader(late).ReadString('\n'); err != nil || line != "HTTP/1.1 200 OK\r\n" {
		t.Errorf("the one who waited: %q, %v", line, err)
	}
}
