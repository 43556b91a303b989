// Package amend changes values in the text of a machine file and leaves all
// else, comments and layout, as its owner wrote it. What a value was before
// stays in the file as a comment.
//
// It knows YAML but not machines: whoever amends reads the result again before
// it is kept. Invariant: the input is never changed, and without an error every
// edit has been made.
package amend
