package panel

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"io/fs"
	"net/http"
	"net/http/httptest"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/pb33f/libopenapi"
	validator "github.com/pb33f/libopenapi-validator"
	"gopkg.in/yaml.v3"

	"drumwright/io/record"
	"drumwright/io/record/recordtest"
)

// described is the description as a general validator reads it.
func described(t testing.TB) validator.Validator {
	t.Helper()
	doc, err := libopenapi.NewDocument(description)
	if err != nil {
		t.Fatal(err)
	}
	v, errs := validator.NewValidator(doc)
	if len(errs) > 0 {
		t.Fatal(errs)
	}
	return v
}

// The description keeps to the schema of OpenAPI 3.1 that its authors publish
// (spec.openapis.org/oas/3.1), which the validator brings along.
func TestDescriptionIsOpenAPI(t *testing.T) {
	if ok, errs := described(t).ValidateDocument(); !ok {
		for _, e := range errs {
			t.Errorf("%s: %s", e.Message, e.Reason)
			for _, s := range e.SchemaValidationErrors {
				t.Errorf("  %s: %s", s.FieldPath, s.Reason)
			}
		}
	}
}

// Every route is described, and everything described is a route.
func TestEveryRouteIsDescribed(t *testing.T) {
	var doc struct {
		OpenAPI    string
		Paths      map[string]map[string]any
		Components struct {
			Schemas struct {
				CommandRequest struct {
					Properties struct{ Kind struct{ Enum []string } }
				} `yaml:"CommandRequest"`
			}
		}
	}
	if err := yaml.Unmarshal(description, &doc); err != nil {
		t.Fatal(err)
	}
	if doc.OpenAPI != "3.1.0" {
		t.Errorf("OpenAPI %s", doc.OpenAPI)
	}
	var have, want []string
	for _, r := range New(Config{}).routes() {
		have = append(have, r.path+" "+r.method)
	}
	for path, item := range doc.Paths {
		for method := range item {
			want = append(want, path+" "+strings.ToUpper(method))
		}
	}
	for _, r := range have {
		if !slices.Contains(want, r) {
			t.Errorf("%s is not described: write it into openapi.yaml", r)
		}
	}
	for _, r := range want {
		if !slices.Contains(have, r) {
			t.Errorf("%s is described and not there: take it out of openapi.yaml", r)
		}
	}
	kinds := doc.Components.Schemas.CommandRequest.Properties.Kind.Enum
	for _, k := range record.Kinds {
		if !slices.Contains(kinds, string(k)) {
			t.Errorf("the command %s is not described", k)
		}
	}
	if len(kinds) != record.NumKinds {
		t.Errorf("%d commands are described, there are %d", len(kinds), record.NumKinds)
	}
}

// pupil has learned nothing, and takes every change but of "frozen".
type pupil struct{}

func (pupil) Learning(context.Context, string, string) (record.LessonBook, error) {
	return record.LessonBook{Lessons: []record.Lesson{{Scope: "coffee", Name: "lot 12", Value: json.RawMessage(`{"a":1}`)}}, History: []record.Lesson{}}, nil
}
func (pupil) Change(_ context.Context, c record.LessonChange) (record.Lesson, error) {
	if c.Name == "frozen" {
		return record.Lesson{}, record.ErrLesson
	}
	return record.Lesson{Scope: c.Scope, Name: c.Name, Who: c.Who, Why: record.LessonUndo, Value: json.RawMessage(`null`)}, nil
}
func (pupil) Weigh(_ context.Context, w record.Weighing) (record.Weighing, error) {
	if w.Batch != 41 {
		return w, record.ErrNoBatch
	}
	return w, nil
}

// window is a shop with one recipe.
type window struct{}

func (window) Machine() record.MachineView {
	return record.MachineView{Name: "heron-1000", TimeScale: 1, NotCovered: []string{}, Exceptions: []string{}}
}
func (window) Matrix() record.Matrix                                        { return anyMatrix }
func (window) Commissioning(context.Context) (record.CommissionBook, error) { return anyLadder, nil }

var (
	anyMatrix = record.Matrix{Columns: []string{"cause", "state"}, Rows: [][]string{{"drum_stall", "S3"}}}
	anyLadder = record.CommissionBook{Items: []record.CommissionStanding{{Item: "bean", Needed: true, State: "guessed", Uncertainty: record.Unknown, How: "drumwright calibrate"}}, Lacks: "bean", Next: "drumwright calibrate"}
)

func (window) Recipes() ([]record.RecipeRow, error) { return []record.RecipeRow{{Name: "plain"}}, nil }
func (window) Recipe(name string) (record.RecipeView, error) {
	if name != "plain" {
		return record.RecipeView{}, fs.ErrNotExist
	}
	return record.RecipeView{RecipeRow: record.RecipeRow{Name: name, GreenKg: record.Unknown}, Points: []record.CurveView{}, Dense: []record.CurveView{}, Stages: []record.StageView{}, Speeds: []record.SpeedView{}}, nil
}

// printer makes reports of one line.
type printer struct{}

func (printer) Batch(_ context.Context, id uint64, w io.Writer) error {
	if id != 41 {
		return record.ErrNoBatch
	}
	return html(w)
}
func (printer) Compare(_ context.Context, batches, _ string, w io.Writer) error {
	if batches == "" {
		return ErrAsked
	}
	return html(w)
}
func (printer) Lot(_ context.Context, _ string, w io.Writer) error   { return html(w) }
func (printer) Month(_ context.Context, _ string, w io.Writer) error { return html(w) }
func (printer) CSV(_ context.Context, _, _ time.Time, w io.Writer) error {
	_, err := io.WriteString(w, "batch\n")
	return err
}
func html(w io.Writer) error {
	_, err := io.WriteString(w, "<!doctype html>")
	return err
}

// desk takes what is said of the next batch.
type desk struct{}

func (desk) NextBatch() record.GreenAhead { return record.GreenAhead{ChargeG: record.Unknown} }
func (desk) SayNextBatch(n record.GreenAhead) (record.GreenAhead, error) {
	if n.Lot == "none" {
		return n, record.ErrEntry
	}
	return n, nil
}

// drawer is a recipe folder that refuses what is called none.
type drawer struct{}

func (drawer) Check(string, []byte) record.RecipeCheck {
	return record.RecipeCheck{Advice: []string{}, Understood: []string{}}
}
func (drawer) Save(name string, _ []byte, _, _ string) (record.RecipeCheck, error) {
	if name == "none" {
		return record.RecipeCheck{Advice: []string{}, Understood: []string{}}, record.ErrRecipe
	}
	return record.RecipeCheck{Advice: []string{}, Understood: []string{}}, nil
}
func (drawer) Versions(string) ([]record.RecipeVersion, error) {
	return []record.RecipeVersion{{}}, nil
}
func (drawer) Version(string) ([]byte, error)                   { return []byte("recipe: plain"), nil }
func (drawer) Draft(*record.KeptDetail, string) ([]byte, error) { return []byte("recipe: plain"), nil }

// furnished has everything that a panel can have.
func furnished(t testing.TB) *Server {
	t.Helper()
	s := New(Config{Operator: &operator{}, Batches: kept{}, History: kept{}, Proofs: &shelf{}, Shop: window{}, Learning: pupil{}, Next: desk{}, Folder: drawer{}, Reports: printer{},
		Preflight: func(name string) (json.RawMessage, error) {
			if name != "plain" {
				return nil, fs.ErrNotExist
			}
			return json.RawMessage(`{"reachable":true}`), nil
		},
		Metrics: http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", "text/plain; version=0.0.4")
			io.WriteString(w, "m 1\n")
		}),
		Accounts: &doorman{asked: true}, Audit: &ledger{got: []record.Audit{{Action: "warm"}}}})
	sc := recordtest.Roasting()
	s.Put(&sc)
	return s
}

// Whatever is asked, the answer is one that the description allows, and a good
// request is a good one by the description too.
func TestAnswersAreAsDescribed(t *testing.T) {
	v := described(t)
	asked := map[string]bool{}
	for _, c := range []struct {
		method, path, body string
		code               int
	}{
		{"GET", "/api/v1/openapi.yaml", "", 200},
		{"GET", "/api/v1/session", "", 200},
		{"POST", "/api/v1/session", `{"account":"operate","password":"open sesame"}`, 201},
		{"POST", "/api/v1/session", `{"account":"operate","password":"x"}`, 403},
		{"DELETE", "/api/v1/session", "", 200},
		{"GET", "/api/v1/state", "", 200},
		{"GET", "/api/v1/now", "", 200},
		{"GET", "/api/v1/machine", "", 200},
		{"GET", "/api/v1/alarms", "", 200},
		{"GET", "/api/v1/alarms/history?limit=5", "", 200},
		{"GET", "/api/v1/alarms/history?limit=500", "", 500},
		{"POST", "/api/v1/commands", `{"kind":"charged","who":"Ada","seen_state":"roasting","seen_scan":12040}`, 200},
		{"POST", "/api/v1/commands", `{"kind":"manual","loop":"air","value":0.5}`, 200},
		{"POST", "/api/v1/commands", `{"kind":"stop"}`, 409},
		{"GET", "/api/v1/control", "", 200},
		{"POST", "/api/v1/control", `{"do":"take","who":"Ada"}`, 200},
		{"POST", "/api/v1/control", `{"do":"give","who":"Ada"}`, 409},
		{"GET", "/api/v1/batches?limit=5&text=x&result=done&from=2026-11-25", "", 200},
		{"GET", "/api/v1/batches/41", "", 200},
		{"GET", "/api/v1/batches/40", "", 404},
		{"POST", "/api/v1/batches/41/entries", `{"who":"Ada","field":"moisture_pct","value":"11.2"}`, 201},
		{"POST", "/api/v1/batches/41/entries", `{"who":"Ada","field":"moisture_pct","value":"much"}`, 422},
		{"POST", "/api/v1/batches/41/weight", `{"roasted_g":846.5,"who":"Ada"}`, 201},
		{"POST", "/api/v1/batches/40/weight", `{"roasted_g":846.5}`, 404},
		{"GET", "/api/v1/batches/41/report", "", 200},
		{"GET", "/api/v1/batches/40/report", "", 404},
		{"GET", "/api/v1/reports/compare?batches=41,38&at=first-crack", "", 200},
		{"GET", "/api/v1/reports/lot?name=Gesha", "", 200},
		{"GET", "/api/v1/reports/month?month=2026-11", "", 200},
		{"GET", "/api/v1/reports/batches.csv?from=2026-11-01", "", 200},
		{"GET", "/api/v1/next-batch", "", 200},
		{"POST", "/api/v1/next-batch", `{"who":"Ada","lot":"lot 27","charge_g":820}`, 201},
		{"POST", "/api/v1/next-batch", `{"who":"Ada","lot":"none"}`, 422},
		{"GET", "/api/v1/recipes", "", 200},
		{"GET", "/api/v1/recipes/plain", "", 200},
		{"GET", "/api/v1/recipes/none", "", 404},
		{"GET", "/api/v1/recipes/plain/preflight", "", 200},
		{"GET", "/api/v1/recipes/none/preflight", "", 422},
		{"POST", "/api/v1/recipes/plain", `{"text":"recipe: plain","based_on":"","who":"Ada"}`, 201},
		{"POST", "/api/v1/recipes/none", `{"text":"recipe: plain","who":"Ada"}`, 422},
		{"POST", "/api/v1/recipes/plain/check", `{"text":"recipe: plain"}`, 200},
		{"GET", "/api/v1/recipes/plain/versions", "", 200},
		{"GET", "/api/v1/recipes/plain/versions/0a", "", 200},
		{"GET", "/api/v1/batches/41/recipe?name=x", "", 200},
		{"GET", "/api/v1/learning?scope=coffee&name=x", "", 200},
		{"POST", "/api/v1/learning", `{"scope":"coffee","name":"lot 12","do":"undo","who":"Ada"}`, 201},
		{"POST", "/api/v1/learning", `{"scope":"coffee","name":"frozen","do":"undo","who":"Ada"}`, 409},
		{"GET", "/api/v1/machine/matrix", "", 200},
		{"GET", "/api/v1/machine/commissioning", "", 200},
		{"GET", "/api/v1/proofs", "", 200},
		{"POST", "/api/v1/proofs", `{"test":"a","who":"Ada","measured_s":null,"result":"pass"}`, 201},
		{"POST", "/api/v1/proofs", `{"test":"late","who":"Ada","result":"pass"}`, 409},
		{"POST", "/api/v1/proofs/begin", `{"who":"Ada"}`, 200},
		{"GET", "/api/v1/audit?limit=10&refused=true", "", 200},
		{"GET", "/metrics", "", 200},
		{"GET", "/healthz", "", 200},
	} {
		s := furnished(t)
		r := request(c.method, c.path, c.body, as("engineer"))
		w := httptest.NewRecorder()
		s.Handler().ServeHTTP(w, r)
		if w.Code != c.code {
			t.Errorf("%s %s: %d %s, want %d", c.method, c.path, w.Code, w.Body, c.code)
			continue
		}
		if w.Code >= 300 {
			checkProblem(t, w, r)
		}
		r.Body = io.NopCloser(strings.NewReader(c.body))
		asDescribed(t, v, r, w.Result(), true)
		path, _, _ := strings.Cut(c.path, "?")
		asked[c.method+" "+path] = true
	}
	if asked["GET "+streamPath] || len(asked) < len(furnished(t).routes())-1 {
		t.Errorf("%d paths were asked for; every route but the stream is to be", len(asked))
	}
}

// asDescribed holds an answer, and a request that is meant well, against the
// description.
func asDescribed(t testing.TB, v validator.Validator, r *http.Request, answer *http.Response, meantWell bool) {
	t.Helper()
	if meantWell {
		if ok, errs := v.ValidateHttpRequestSync(r); !ok {
			for _, e := range errs {
				t.Errorf("%s %s is no good request: %s: %s %v", r.Method, r.URL, e.Message, e.Reason, e.SchemaValidationErrors)
			}
		}
	}
	if ok, errs := v.ValidateHttpResponse(r, answer); !ok {
		for _, e := range errs {
			t.Errorf("%s %s: %s: %s", r.Method, r.URL, e.Message, e.Reason)
			for _, s := range e.SchemaValidationErrors {
				t.Errorf("  %s: %s", s.FieldPath, s.Reason)
			}
		}
	}
}

// A validator that finds nothing would prove nothing.
func TestTheValidatorFinds(t *testing.T) {
	v := described(t)
	for name, c := range map[string]struct {
		contentType, body string
		code              int
	}{
		"a member is missing":  {"application/json", `{"accepted":true}`, 200},
		"a member is null":     {"application/json", `{"accepted":true,"reason":null}`, 200},
		"another type":         {"text/html", `<p>`, 200},
		"a problem as JSON":    {"application/json", `{"type":"about:blank","title":"x","status":409,"detail":"x","instance":"/"}`, 409},
		"a problem of nothing": {"application/problem+json", `{}`, 409},
	} {
		r := request("POST", commandPath, `{"kind":"stop"}`)
		ok, _ := v.ValidateHttpResponse(r, &http.Response{StatusCode: c.code, Header: http.Header{"Content-Type": {c.contentType}}, Body: io.NopCloser(strings.NewReader(c.body))})
		if ok {
			t.Errorf("%s is not found", name)
		}
	}
}

// The frames of the stream are of the types that the description names for them.
func TestStreamIsAsDescribed(t *testing.T) {
	s, _ := fresh()
	s.stream.open = true
	c := s.stream.join(true)
	names := map[string]string{"state": "StatusView", "measurement": "MeasuredView", "alarms": "AlarmsView", "now": "Now", "control": "ControlView"}
	for range len(names) {
		name, data, _ := bytes.Cut(bytes.TrimSuffix(bytes.TrimPrefix(<-c, []byte("event: ")), []byte("\n\n")), []byte("\ndata: "))
		// A stream has no schema of its own in OpenAPI: what a frame holds is checked as
		// the answer of the path that gives the same, or by its required members.
		var doc struct {
			Components struct {
				Schemas map[string]struct{ Required []string }
			}
		}
		if err := yaml.Unmarshal(description, &doc); err != nil {
			t.Fatal(err)
		}
		var members map[string]any
		if err := json.Unmarshal(data, &members); err != nil {
			t.Fatal(err)
		}
		need := doc.Components.Schemas[names[string(name)]].Required
		if len(need) == 0 {
			t.Errorf("%s is not described", name)
		}
		for _, n := range need {
			if _, ok := members[n]; !ok {
				t.Errorf("%s has no %s", name, n)
			}
		}
	}
}

// A running daemon answers as described: DRUMWRIGHT_API=http://127.0.0.1:8420.
func TestRunningDaemonIsAsDescribed(t *testing.T) {
	base := os.Getenv("DRUMWRIGHT_API")
	if base == "" {
		t.Skip("DRUMWRIGHT_API names no running daemon")
	}
	v := described(t)
	for _, path := range []string{"/api/v1/openapi.yaml", "/api/v1/session", "/api/v1/state", "/api/v1/now", "/api/v1/machine", "/api/v1/machine/matrix", "/api/v1/machine/commissioning", "/api/v1/alarms", "/api/v1/alarms/history", "/api/v1/control", "/api/v1/batches",
		"/api/v1/batches/1", "/api/v1/batches/1/report", "/api/v1/reports/month?month=2026-11", "/api/v1/reports/batches.csv", "/api/v1/next-batch", "/api/v1/recipes",
		"/api/v1/recipes/harbour-medium", "/api/v1/recipes/harbour-medium/preflight", "/api/v1/learning", "/api/v1/proofs", "/api/v1/audit", "/metrics", "/healthz"} {
		r, err := http.NewRequest("GET", base+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		answer, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		t.Log(path, answer.Status)
		asDescribed(t, v, r, answer, true)
		answer.Body.Close()
	}
}
