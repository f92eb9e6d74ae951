// Package seed fills an empty ledger with years of a harbour's contracts at any size, so that speed is measured on a
// ledger that is as large as the promise says. It is no command of the service: nobody fills a living ledger by mistake.
//
// Rows go in by COPY, past the guards of single acts, and then every key, foreign key and check is made or validated. What a row
// says is what the service would have written: each milestone walks the state machine in time, its leaves carry true hashes in
// the order's log, sums beside the states follow from them, and Verify finds nothing wrong in any order (a test holds that).
//
// What is not true: findings come from some sixty drawn inspections that repeat; objects exist in the storage for the deliveries
// of Sample only; and nothing is anchored in the house log until the service runs.
package seed
