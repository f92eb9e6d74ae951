// Package watch is what the operator sees of the programs from outside: spans of one request through API, job and child, sent
// to a collector by OTLP over HTTP in JSON (OpenTelemetry protocol 1.x), and the state of the queue for Prometheus. It must
// never hold up the work that it watches: what a collector does not take in time is dropped and counted.
//
// One id goes through everything: a request's id is a UUID, and its 32 hexadecimal digits are the trace id of all that the
// request leads to (W3C Trace Context, section 3.2.2.3). The first span of a trace has the last 16 digits of it as its id, so
// that whoever knows the trace id knows its parent.
package watch
