package main

import (
	"bytes"
	"context"
	"crypto/x509"
	"encoding/json"
	"encoding/pem"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"drumwright/io/access"
	"drumwright/io/peertest"
	"drumwright/io/record"
	"drumwright/profiles"
)

// The whole daemon, seen from a screen elsewhere over TLS by somebody who has signed
// in as an engineer, where commands from afar are allowed at all: nothing starts,
// resets, raises or speaks for those at the machine; what takes heat away is heeded.
func TestScreenElsewhereStartsNothing(t *testing.T) {
	peertest.OnceIsEnough(t)
	dir := t.TempDir()
	file, err := practiceFolder(dir, "heron-1000")
	if err != nil {
		t.Fatal(err)
	}
	text, _ := profiles.Example("machines/heron-1000.yaml")
	address, view := peertest.FreeAddress(t), peertest.FreeAddress(t)
	text = bytes.Replace(text, []byte("listen: 127.0.0.1:8420"), []byte("listen: "+address), 1)
	if i := bytes.Index(text, []byte("  mqtt:")); i > 0 {
		text = text[:i] // no broker here
	}
	text = fmt.Appendf(text, "\naccess: {view: %q, certificate: own.pem, key: own.key, remote: true}\n", view)
	web := ownCertificate(t, filepath.Join(dir, "own.pem"), filepath.Join(dir, "own.key"))
	const secret = "three green beans"
	if err := access.Edit(access.FileOf(filepath.Join(dir, "drumwright.db")), func([]access.Account) ([]access.Account, error) {
		a, err := access.New("eve", record.RoleEngineer, secret, time.Now())
		return []access.Account{a}, err
	}); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, text, 0o600); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	var out, log peertest.Buffer
	ended := make(chan error, 1)
	go func() { ended <- serve(ctx, file, &serveOptions{logLevel: "warn", practice: 50}, &out, &log) }()
	defer func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	}()
	ask := func(c *http.Client, url, path, body string) (code int, said string) {
		t.Helper()
		r, _ := http.NewRequest("POST", url+path, strings.NewReader(body))
		r.Header.Set("Content-Type", "application/json")
		res, err := c.Do(r)
		if err != nil {
			return 0, err.Error()
		}
		defer res.Body.Close()
		b, _ := io.ReadAll(res.Body)
		return res.StatusCode, string(b)
	}
	here, there := "http://"+address, "https://"+view
	local := &http.Client{Timeout: patience}
	local.Jar, _ = cookiejar.New(nil)
	for url, c := range map[string]*http.Client{here: local, there: web} {
		peertest.Eventually(t, patience, "signing in at "+url, func() bool {
			code, _ := ask(c, url, "/api/v1/session", `{"account":"eve","password":"`+secret+`"}`)
			return code == http.StatusCreated
		})
	}
	peertest.Eventually(t, patience, "a machine that can be warmed", func() bool { return state(address) == "cold" })
	members := map[record.Kind]string{record.LoadRecipe: `,"recipe":"harbour-medium"`, record.SetManual: `,"loop":"air","value":0.5`, record.SetAutomatic: `,"loop":"air"`,
		record.TryLoop: `,"loop":"air","value":0.1,"method":"step","limit_k":10`, record.TurnDrum: `,"skin_mm_per_s":100`, record.DropAt: `,"drop_c":212`}
	do := func(c *http.Client, url string, k record.Kind) (int, string) {
		return ask(c, url, "/api/v1/commands", fmt.Sprintf(`{"kind":%q%s}`, k, members[k]))
	}
	refused := func(when string) {
		t.Helper()
		for _, k := range record.Kinds {
			if !k.LocalOnly() {
				continue
			}
			if code, said := do(web, there, k); code != http.StatusConflict && code != http.StatusForbidden || !strings.Contains(said, "at the machine") {
				t.Errorf("%s, %s from a screen elsewhere: %d %s", when, k, code, said)
			}
		}
	}
	refused("cold")
	if got := state(address); got != "cold" {
		t.Errorf("the machine is %s after commands from elsewhere", got)
	}
	// Two of what is heeded from afar: a recipe for the cold machine, and an end of heat.
	if code, said := do(web, there, record.LoadRecipe); code != http.StatusOK {
		t.Errorf("a recipe from elsewhere while cold: %d %s", code, said)
	}
	if code, said := do(local, here, record.StartWarming); code != http.StatusOK {
		t.Fatalf("warming at the machine: %d %s", code, said)
	}
	peertest.Eventually(t, patience, "warming", func() bool { return state(address) == "warming" })
	refused("warming")
	if code, said := do(web, there, record.Hold); code != http.StatusOK {
		t.Errorf("hold from elsewhere: %d %s", code, said)
	}
	peertest.Eventually(t, patience, "held", func() bool { return state(address) == "held" })
	refused("held")
	if code, said := do(web, there, record.Stop); code != http.StatusOK {
		t.Errorf("stop from elsewhere: %d %s", code, said)
	}
	// Without TLS nothing is answered there, and a stranger's browser is told nothing.
	if res, err := http.Get("http://" + view + "/api/v1/state"); err == nil {
		res.Body.Close()
		if res.StatusCode != http.StatusBadRequest {
			t.Errorf("without TLS: %s", res.Status)
		}
	}
	web.Jar, _ = cookiejar.New(nil)
	if code, _ := do(web, there, record.Stop); code != http.StatusForbidden {
		t.Errorf("a stranger's stop from elsewhere: %d", code)
	}
	const want = record.NumKinds // of three times as many that were tried
	peertest.Eventually(t, patience, "what was tried from elsewhere in the audit log", func() bool {
		res, err := local.Get(here + "/api/v1/audit?limit=1000")
		if err != nil {
			return false
		}
		defer res.Body.Close()
		var list struct{ Audit []record.Audit }
		if json.NewDecoder(res.Body).Decode(&list) != nil {
			return false
		}
		far := 0
		for _, a := range list.Audit {
			if a.Local || a.Account != "eve" {
				continue
			}
			far++
			if a.Accepted && record.Kind(a.Action).LocalOnly() && a.Action != "sign in" {
				t.Errorf("the audit log has %+v", a)
			}
		}
		return far >= want
	})
}

// ownCertificate writes a certificate for the loopback address, and its key, and gives
// a browser that trusts it: those of httptest, which nobody else does.
func ownCertificate(t *testing.T, certificate, key string) *http.Client {
	t.Helper()
	s := httptest.NewTLSServer(nil)
	defer s.Close()
	pair := s.TLS.Certificates[0]
	secret, err := x509.MarshalPKCS8PrivateKey(pair.PrivateKey)
	if err != nil {
		t.Fatal(err)
	}
	for path, block := range map[string]*pem.Block{certificate: {Type: "CERTIFICATE", Bytes: pair.Certificate[0]}, key: {Type: "PRIVATE KEY", Bytes: secret}} {
		if err := os.WriteFile(path, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	web := s.Client()
	web.Timeout = patience
	web.Jar, _ = cookiejar.New(nil)
	return web
}
