package say

// Doubts are held against the interlocks' own table by a test.
var Doubts = doubts
