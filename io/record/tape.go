package record

// TapeChunk is a piece of the tape of a batch, from which it can be replayed.
type TapeChunk struct {
	Seq   int  // from 0 in each batch; one that is missing was lost
	Start bool // begins a segment
	Data  []byte
}
