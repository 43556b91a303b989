package panel

import (
	"io/fs"
	"path"
	"regexp"
	"strings"
	"testing"
)

// literals are the quoted texts of a script and the texts of a document; a
// comment that holds an apostrophe is taken away before.
var (
	comments = regexp.MustCompile(`(?m)(^|\s)//.*$`)
	literals = regexp.MustCompile("'(?:[^'\\\\\n]|\\\\.)*'|`(?:[^`\\\\]|\\\\.)*`")
	code     = regexp.MustCompile(`\$\{[^}]*\}`)
	unwanted = regexp.MustCompile(`(?i)\b(please|sorry|oops|errors?|failed|failure|invalid|illegal|click|abort|kill|ok|okay|successful(ly)?)\b|[a-z]!(\s|$)`)
)

// unwantedWords are what a text says that nobody at a hot machine is to read:
// politeness that costs a line, blame, shouting, and words of the trade of
// programs. Texts without a space or a capital are names of the program, not words.
func unwantedWords(text string) []string {
	text = code.ReplaceAllString(text, "")
	if !strings.ContainsAny(text, " ABCDEFGHIJKLMNOPQRSTUVWXYZ") {
		return nil
	}
	return unwanted.FindAllString(text, -1)
}

func TestWordsOfThePage(t *testing.T) {
	seen := 0
	err := fs.WalkDir(pageFiles, ".", func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		text, err := fs.ReadFile(pageFiles, p)
		if err != nil {
			return err
		}
		var said []string
		switch path.Ext(p) {
		case ".js":
			said = literals.FindAllString(comments.ReplaceAllString(string(text), ""), -1)
		case ".html":
			said = strings.FieldsFunc(string(text), func(r rune) bool { return r == '<' || r == '>' })
		}
		for _, s := range said {
			seen++
			if w := unwantedWords(strings.Trim(s, "'`")); w != nil {
				t.Errorf("%s: %q says %q", p, s, w)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if seen < 500 {
		t.Errorf("only %d texts found: the page has more", seen)
	}
}

func TestUnwantedWordsAreSeen(t *testing.T) {
	for _, s := range []string{"Please wait", "An error occurred", "Done!", "Invalid mass", "Click here", "Upload failed"} {
		if unwantedWords(s) == nil {
			t.Errorf("%q passes", s)
		}
	}
	for _, s := range []string{"Now", "First cause. ", "error", "`${r.ok ? 1 : 2} Batches`"} {
		if w := unwantedWords(s); w != nil {
			t.Errorf("%q: %q", s, w)
		}
	}
}
