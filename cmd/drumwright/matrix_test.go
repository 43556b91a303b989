package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"drumwright/profiles"
)

func matrixOf(t *testing.T, args ...string) string {
	t.Helper()
	var out, errs bytes.Buffer
	if code := run(context.Background(), append([]string{"matrix", "--date", "2026-08-01"}, args...), nil, &out, &errs); code != codeOK {
		t.Fatalf("matrix %v: exit code %d: %s", args, code, errs.String())
	}
	return out.String()
}

// The matrix of the shipped machines, as it was last looked through.
func TestMatrix(t *testing.T) {
	for _, machine := range []string{"heron-1000", "lark-300"} {
		for _, format := range []string{"text", "markdown", "csv"} {
			got := matrixOf(t, machine, "--format", format)
			path := filepath.Join("..", "..", "testdata", "matrix", machine+"."+format)
			if *update {
				if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
				continue
			}
			want, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if got != string(want) {
				t.Errorf("%s of %s has changed: look at it, then write it anew with -update\n%s", format, machine, got)
			}
		}
	}
}

func TestMatrixOfExceptions(t *testing.T) {
	data, _ := profiles.Example("machines/lark-300.yaml")
	write := func(cause, until string) string {
		path := filepath.Join(t.TempDir(), "m.yaml")
		text := string(data) + "\nexceptions:\n  - {cause: " + cause + ", who: Ada, until: " + until + ", why: belt on order}\n"
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	got := matrixOf(t, write("drum_slip", "2026-08-01"))
	flat := strings.Join(strings.Fields(got), " ") // it is wrapped for a terminal
	if !strings.Contains(flat, "drum_slip does not trip until the end of 2026-08-01 by exception of Ada: belt on order.") || !strings.Contains(got, "excepted") {
		t.Error(got)
	}
	if got := matrixOf(t, write("drum_slip", "2026-07-31")); strings.Contains(got, "excepted") || !strings.Contains(got, "Exceptions\n  None.") {
		t.Error("an exception goes on after its last day")
	}
	for _, cause := range []string{"drum_stall", "drum_slow", "no_such"} {
		var out, errs bytes.Buffer
		if code := run(context.Background(), []string{"matrix", write(cause, "2027-01-01")}, nil, &out, &errs); code != codeInput || !strings.Contains(errs.String(), "exceptions[1].cause") {
			t.Errorf("%s: exit code %d, %s", cause, code, errs.String())
		}
	}
	var out, errs bytes.Buffer
	if code := run(context.Background(), []string{"matrix", "lark-300", "--format", "yaml"}, nil, &out, &errs); code != codeInput {
		t.Errorf("exit code %d, %s", code, errs.String())
	}
}
