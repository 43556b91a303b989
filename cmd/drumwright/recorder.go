package main

import (
	"log/slog"

	"drumwright/control"
	"drumwright/control/batch"
	"drumwright/io/record"
	"drumwright/io/tape"
)

// recorder is the control.Tape that makes tapes of batches.
type recorder struct {
	tape  *tape.Writer
	core  *control.Controller
	last  control.Heard // of the last scan that was put with what it heard; without its commands
	begun bool
	heard []byte
	log   *slog.Logger
}

func newRecorder(core *control.Controller, keep func(uint64, record.TapeChunk), patient bool, log *slog.Logger) *recorder {
	r := &recorder{core: core, log: log}
	r.tape = tape.NewWriter(tape.Config{Keep: keep, Freeze: core.Freeze, Shape: control.FreezeShape(), Version: versionText(), Patient: patient, Log: log})
	return r
}

// Decided takes a scan. What it heard is written out only when there is something.
func (r *recorder) Decided(c *control.Controller, h *control.Heard, rec *record.Scan) {
	var heard []byte
	if len(h.Commands) > 0 || h.Bar != r.last.Bar || h.Unacknowledged != r.last.Unacknowledged || !r.begun {
		var err error
		if r.heard, err = control.AppendHeard(r.heard[:0], h); err != nil {
			r.log.Error("commands are not in the tape", "err", err)
		}
		r.last, r.begun, heard = control.Heard{Bar: h.Bar, Unacknowledged: h.Unacknowledged}, true, r.heard
	}
	r.tape.Put(rec, heard, c.State() == batch.Cold)
}

func (r *recorder) close() { r.tape.Close() }
