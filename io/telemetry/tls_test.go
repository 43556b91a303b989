package telemetry

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"drumwright/io/peertest"
)

// A real broker that wants TLS and a password is reached with both, and with
// neither a wrong password nor a certificate that is not trusted.
func TestMQTTOverTLS(t *testing.T) {
	mosquitto, passwd := peertest.Find(t, "mosquitto"), peertest.Find(t, "mosquitto_passwd")
	dir := t.TempDir()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	sheet := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "broker"}, NotBefore: time.Now().Add(-time.Hour),
		NotAfter: time.Now().Add(time.Hour), IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true}
	der, err := x509.CreateCertificate(rand.Reader, sheet, sheet, key.Public(), key)
	if err != nil {
		t.Fatal(err)
	}
	keyDER, err := x509.MarshalECPrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	write := func(name string, b []byte) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, b, 0o644); err != nil { // the broker gives up being root and must read it
			t.Fatal(err)
		}
		return path
	}
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	cert := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
	users := filepath.Join(dir, "users")
	if out, err := exec.Command(passwd, "-b", "-c", users, "roaster", "right").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	if err := os.Chmod(users, 0o644); err != nil {
		t.Fatal(err)
	}
	address := peertest.FreeAddress(t)
	_, port, _ := net.SplitHostPort(address)
	var log peertest.Buffer
	peertest.Start(t, &log, mosquitto, "-c", write("broker.conf", []byte("listener "+port+" 127.0.0.1\nallow_anonymous false\npersistence false\nuser root\npassword_file "+users+
		"\ncertfile "+write("cert.pem", cert)+"\nkeyfile "+write("key.pem", pem.EncodeToMemory(&pem.Block{Type: "EC PRIVATE KEY", Bytes: keyDER}))+"\n")))
	pool := x509.NewCertPool()
	pool.AppendCertsFromPEM(cert)

	connects := func(password string, c *tls.Config) bool {
		m, err := newMQTT(MQTTConfig{Broker: "ssl://" + address, Site: "shop", Machine: "old-drum", Username: "roaster", Password: password, TLS: c}, quick)
		if err != nil {
			t.Fatal(err)
		}
		defer m.Close()
		return peertest.Within(map[bool]time.Duration{true: 10 * time.Second, false: 500 * time.Millisecond}[password == "right" && c != nil],
			func() bool { return m.Stats().Connected })
	}
	if !connects("right", &tls.Config{RootCAs: pool}) {
		t.Fatalf("not connected\n%s", log.String())
	}
	if connects("wrong", &tls.Config{RootCAs: pool}) {
		t.Error("connected with a wrong password")
	}
	if connects("right", nil) {
		t.Error("connected to a broker that nobody vouches for")
	}
}
