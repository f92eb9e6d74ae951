// Package httpapi serves the interface of openapi/proofhouse.yaml over the ledger and the object storage.
//
// The description is the source: routes and types are generated from it, every request is checked against it before a
// handler sees it, and a test asks for every operation in it. Handlers translate; rules live in the ledger and in the
// database. No handler calls the storage inside a database transaction.
//
// The way of a request: id and log line, limits by address, who is calling, the check against cross-site writes, limits
// by caller, the description's check, handler. A failure anywhere becomes one RFC 9457 problem in one place (problem.go),
// made of our own words only: nothing that was sent comes back in it.
package httpapi
