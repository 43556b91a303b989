// Package panel is the local HTTP interface: the state of the machine, a stream
// of what happens, commands, the kept batches, the metrics and the operator page.
// The page is embedded; no other file is served. It decides nothing about the
// machine: a command is checked for form and for the right to give it here, and
// judged by the Operator.
//
// Invariant: whoever is at the machine can hold, drop, stop, acknowledge and call
// fire without a password; nobody elsewhere can start, reset or raise anything,
// whatever their role; a page of another origin can neither read nor command; and
// nothing that a client does or leaves undone can hold up a scan.
//
// One person at a time has control, see hands.go: while a screen or a terminal has it,
// all others are refused what is not stop, acknowledge, silence or fire, nor, at the
// machine, hold or drop.
//
// A request counts as made at the machine (record.Command.Local) when it came over
// the unix socket or from a loopback peer to a loopback address, and was not relayed
// by a proxy that says so (Forwarded*, X-Forwarded*, X-Original*, *-IP, Via). A tunnel that
// ends on this computer, such as ssh -L, or a proxy here that sets none of these,
// cannot be told from somebody standing here:
// who may open one may stand here, as far as this package can know. Whoever comes to
// the address for viewers (ListenView) is never at the machine.
//
// What needs which role stands in Server.routes, and for commands in
// record.Kind.Need. Without accounts, those at the machine are engineers and all
// others may look. With accounts, those at the machine may look, and take heat away,
// without signing in; over the unix socket they are engineers, because its file
// says who may write to it. Those elsewhere may look once signed in, and with
// Config.Remote give the commands that are not record.Kind.LocalOnly. What is to
// change anything, sign-in included, is noted by Config.Audit, whatever became of it.
//
// Goroutines: Put belongs to the scan's goroutine; the rest may be called from
// anywhere. Serve owns every goroutine of this package and ends them all before
// it returns.
//
// It is described in full in openapi.yaml, which the tests hold against the handlers:
//
//	GET  /api/v1/openapi.yaml  the description, OpenAPI 3.1
//	GET  /api/v1/session       what whoever asks may do from where they are
//	POST /api/v1/session       {"account", "password"}: signs in; sets a cookie
//	DELETE /api/v1/session     signs out
//	GET  /api/v1/audit         {"audit": [record.Audit]}, newest first; engineers only;
//	                           ?before=N&limit=N&from=T&to=T&refused=true
//	GET  /api/v1/state         record.View
//	GET  /                     the operator page; its parts are below /page/
//	GET  /api/v1/events        text/event-stream: "state" (record.StatusView, on
//	                           joining and on change), "event" (record.EventView),
//	                           "measurement" (record.MeasuredView, each second),
//	                           "alarms" (record.AlarmsView, with "state"),
//	                           "now" (say.Now, with "state" and "measurement"),
//	                           "control" (who has control, on joining and on change)
//	GET  /api/v1/now           say.Now: the words that a person reads first
//	GET  /api/v1/machine       record.MachineView
//	GET  /api/v1/recipes       {"recipes": [record.RecipeRow]}
//	GET  /api/v1/recipes/{name}  record.RecipeView
//	GET  /api/v1/alarms        record.AlarmsView: what calls for a person now;
//	                           a "state" on the stream says when it has changed
//	GET  /api/v1/alarms/history  {"alarms": [record.KeptAlarm]}, newest first;
//	                           ?limit=N
//	POST /api/v1/commands      record.Command in JSON; answers record.Answer
//	GET  /api/v1/control       who has control; gives a browser its cookie
//	POST /api/v1/control       {"do", "who"}: take, ask, give or release; at the
//	                           machine only; see hands.go
//	GET  /api/v1/batches       {"batches": [record.KeptBatch]}, newest first;
//	                           ?before=ID&limit=N&from=T&to=T&result=R&recipe=R
//	                           &lot=L&tag=T&text=T; a time is a date of this
//	                           computer's zone, or RFC 3339
//	GET  /api/v1/batches/{id}  record.KeptDetail
//	POST /api/v1/batches/{id}/weight
//	                           {"roasted_g": N, "green_g": N, "who": NAME}: what
//	                           a batch weighed; without green_g as its recipe says;
//	                           answers record.Weighing
//	GET  /api/v1/learning      record.LessonBook: what batches have taught;
//	                           ?scope=recipe|coffee|machine&name=NAME with history
//	POST /api/v1/learning      {"scope", "name", "do", "who"}; do is reset, undo,
//	                           freeze or thaw; answers record.Lesson
//	POST /api/v1/batches/{id}/entries
//	                           keeps what a person enters of a batch: who, field,
//	                           value, item; see record.Entry; answers it as kept
//	GET  /api/v1/next-batch    record.GreenAhead: what was said of the green coffee
//	POST /api/v1/next-batch    {"who", "lot", "moisture_pct", "density_g_per_l",
//	                           "charge_g"}: entered into the next batch of the
//	                           loaded recipe; answers record.GreenAhead
//	GET  /api/v1/batches/{id}/report
//	                           a page to print, as all reports
//	GET  /api/v1/reports/compare  ?batches=41,38,39&at=charge or first-crack
//	GET  /api/v1/reports/lot   ?name=LOT
//	GET  /api/v1/reports/month ?month=2026-11
//	GET  /api/v1/reports/batches.csv  ?from=DAY&to=DAY: a row a batch
//	POST /api/v1/recipes/{name}  {"text", "based_on": HASH, "who"}: a new version, or
//	                           without based_on a new recipe; at the machine only;
//	                           answers record.RecipeCheck
//	POST /api/v1/recipes/{name}/check  {"text"}: record.RecipeCheck, nothing is kept
//	GET  /api/v1/recipes/{name}/versions  {"versions": [record.RecipeVersion]}
//	GET  /api/v1/recipes/{name}/versions/{hash}  {"text"}
//	GET  /api/v1/batches/{id}/recipe  ?name=NAME: {"name", "text"}: a recipe that asks
//	                           for what the batch was; nothing is kept
//	GET  /api/v1/recipes/{name}/preflight
//	                           what is to be expected of a recipe in the folder:
//	                           the JSON of the command preflight
//	GET  /api/v1/machine/matrix  record.Matrix: what trips, and what then happens
//	GET  /api/v1/machine/commissioning
//	                           record.CommissionBook: what is measured, guessed or
//	                           overdue, and what comes next
//	GET  /api/v1/proofs        record.ProofBook: every proof test, what is due, what
//	                           was done
//	POST /api/v1/proofs        keeps one proof test: test, who, seen, measured_s,
//	                           result, note; at the machine only; answers record.Proof
//	POST /api/v1/proofs/begin  {"who": NAME}; lets the machine be warmed for proof
//	                           tests; at the machine only; answers {"until": TIME}
//	GET  /metrics              Prometheus
//	GET  /healthz              200 while scans come, else 503
//
// Everything that goes wrong is answered with problem details (RFC 9457). A
// refused command is 409 and carries "accepted" and "reason" beside them.
package panel
