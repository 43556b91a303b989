// Package telemetry shows the running machine to Prometheus and to an MQTT
// broker. It takes no commands from either, and is not a safety device.
//
// Invariant: nothing outside can hold up a scan. Put copies and returns; what
// cannot be sent is dropped and counted, and memory stays bounded. Events that no
// broker has acknowledged are read again where they are kept (EventStore), also
// after a restart, and sent before newer ones. A value that
// is not usable is left out (Prometheus) or null (MQTT), never 0.
//
// Goroutines: Put belongs to the scan's goroutine, everything else may be called
// from anywhere. MQTT runs one goroutine of its own until Close.
//
// MQTT topics below <prefix>/<site>/<machine>, all JSON in UTF-8 but for status:
//
//	status        "online" or "offline", a plain word because the last will is
//	              written before anyone knows when it will be sent; retained, QoS 1
//	state         record.StatusView; retained, QoS 1, on change and on connecting
//	measurements  record.MeasuredView, each period; not retained, QoS 0
//	events        record.EventView, each as it happens; not retained, QoS 1. After an
//	              outage those that were missed, in their order, the newest 10,000 at
//	              most, with the quality "" because that is not kept. One whose
//	              acknowledgement was lost comes twice: time, scan and name tell
//	alarms        record.AlarmsView, what calls for a person now; retained, QoS 1,
//	              on change and on connecting
//
// Each JSON payload carries the UTC time of its scan and the worst quality among
// the machine's points; each measured value carries its own quality.
//
// deploy/TELEMETRY.md lists every metric and topic; Version says when a name
// changed its meaning.
package telemetry
