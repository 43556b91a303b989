package panel

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"drumwright/io/record"
	"drumwright/io/record/recordtest"
)

// shelf keeps proofs in memory; the test "broken" finds a broken disk, "late"
// is refused.
type shelf struct {
	got []record.Proof
	who string
}

func (k *shelf) Proofs(context.Context) (record.ProofBook, error) {
	if k.who == "broken" {
		return record.ProofBook{}, errors.New("disk")
	}
	return record.ProofBook{Tests: []record.ProofStanding{{ProofTest: record.ProofTest{ID: "drum-stall"}, State: record.ProofNever}}, Blocking: []string{}, Records: k.got}, nil
}

func (k *shelf) Prove(_ context.Context, p record.Proof) (record.Proof, error) {
	switch p.Test {
	case "broken":
		return record.Proof{}, errors.New("disk")
	case "late":
		return record.Proof{}, errors.Join(record.ErrProof, errors.New("too late"))
	}
	p.N = uint64(len(k.got) + 1)
	k.got = append(k.got, p)
	return p, nil
}

func (k *shelf) BeginProving(who string) time.Time {
	k.who = who
	return recordtest.Start
}

func TestProofs(t *testing.T) {
	const good = `{"test":"drum-stall","who":"Ada","seen":"trip","measured_s":3.0,"result":"pass","note":""}`
	post := func(body string, edit ...func(*http.Request)) *http.Request {
		return request("POST", "/api/v1/proofs", body, edit...)
	}
	for _, c := range []struct {
		name string
		r    *http.Request
		code int
		want string
	}{
		{"list", request("GET", "/api/v1/proofs", ""), 200, `"state":"never done"`},
		{"kept", post(good, here), 201, `"n":1,"test":"drum-stall","who":"Ada"`},
		{"nothing measured", post(`{"test":"a","who":"Ada","measured_s":null,"result":"fail"}`, here), 201, `"measured_s":null`},
		{"from elsewhere", post(good, afar), 403, "only looking is possible"},
		{"relayed", post(good, here, header("X-Forwarded-For", "192.0.2.1")), 403, "only looking is possible"},
		{"from another page", post(good, here, header("Origin", "https://example.org")), 403, "another origin"},
		{"as a form", post(good, here, header("Content-Type", "text/plain")), 415, "application/json"},
		{"with a limit of its own", post(`{"test":"a","who":"Ada","result":"pass","limit_s":99}`, here), 400, `\"limit_s\" is not known`},
		{"simulated", post(`{"test":"a","who":"Ada","result":"pass","simulated":false}`, here), 400, "is not known"},
		{"of nobody", post(`{"test":"a","who":" ","result":"pass"}`, here), 400, "who is not a text, or empty"},
		{"without a name", post(`{"test":"a","result":"pass"}`, here), 400, `\"who\" is missing`},
		{"without a result", post(`{"test":"a","who":"Ada"}`, here), 400, `\"result\" is missing`},
		{"half a pass", post(`{"test":"a","who":"Ada","result":"perhaps"}`, here), 400, "is not"},
		{"before it began", post(`{"test":"a","who":"Ada","result":"pass","measured_s":-1}`, here), 400, "from 0 to"},
		{"twice", post(`{"test":"a","who":"Ada","result":"fail","result":"pass"}`, here), 400, "twice"},
		{"of two lines", post(`{"test":"a","who":"Ada","result":"pass","note":"a\nb"}`, here), 400, "cannot be printed"},
		{"refused", post(`{"test":"late","who":"Ada","result":"pass"}`, here), 409, "too late"},
		{"broken", post(`{"test":"broken","who":"Ada","result":"pass"}`, here), 500, "the log says why"},
		{"begin", request("POST", "/api/v1/proofs/begin", `{"who":"Ada"}`, here), 200, `{"until":"2031-03-14T09:26:53Z"}`},
		{"begin from elsewhere", request("POST", "/api/v1/proofs/begin", `{"who":"Ada"}`, afar), 403, "go to the machine"},
		{"begin by nobody", request("POST", "/api/v1/proofs/begin", `{}`, here), 400, `\"who\" is missing`},
		{"change one", request("PUT", "/api/v1/proofs", good, here), 405, "GET and POST only"},
		{"delete them", request("DELETE", "/api/v1/proofs", "", here), 405, "GET and POST only"},
	} {
		t.Run(c.name, func(t *testing.T) {
			k := &shelf{}
			s := New(Config{Operator: &operator{}, Proofs: k})
			w := httptest.NewRecorder()
			s.Handler().ServeHTTP(w, c.r)
			if w.Code != c.code || !strings.Contains(w.Body.String(), c.want) {
				t.Fatalf("%d %s; want %d with %q", w.Code, w.Body, c.code, c.want)
			}
			if c.code >= 300 {
				checkProblem(t, w, c.r)
			}
			if len(k.got) > 0 != (c.code == 201) {
				t.Errorf("kept %+v", k.got)
			}
		})
	}
}

func TestWithoutProofs(t *testing.T) {
	s := New(Config{Operator: &operator{}})
	for _, method := range []string{"GET", "POST"} {
		w := httptest.NewRecorder()
		r := request(method, "/api/v1/proofs", "", here)
		s.Handler().ServeHTTP(w, r)
		if w.Code != 404 {
			t.Errorf("%s: %d", method, w.Code)
		}
		checkProblem(t, w, r)
	}
}

// Whatever the bytes: no panic, and what is taken has a test, a name and a
// result, and says nothing that is not the sender's to say.
func FuzzDecodeProof(f *testing.F) {
	for _, s := range []string{`{"test":"a","who":"Ada","result":"pass"}`, `{"measured_s":1e400}`, `{"test":["a"]}`, `[]`, "\xff"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		p, err := decodeProof(b)
		if err != nil {
			return
		}
		if p.Test == "" || p.Who == "" || !slices.Contains([]string{"pass", "fail"}, p.Result) || p.Expected != "" || p.MachineHash != "" || p.Simulated || p.N != 0 {
			t.Fatalf("%q is taken as %+v", b, p)
		}
		if _, err := json.Marshal(p); err != nil {
			t.Fatal(err)
		}
	})
}
