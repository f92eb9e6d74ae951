// Package arrows holds the test of which package may lean on which. It has no product code.
package arrows
