// Package endtoend tests the whole: the service over a real PostgreSQL and a real S3 server, the worker as a program of
// its own, deliveries as a vendor makes them. It holds no product code.
package endtoend
