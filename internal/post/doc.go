// Package post carries news out of the house: to webhooks, and to people by mail. What is due, and to whom, is the
// ledger's to say; this package claims it, sends it and records how it went. Any number of processes may run it. Nothing is
// lost when one dies between sending and recording: the claim lapses and it is sent once more, under the same id.
package post
