// Package raster draws the pictures that go with an inspection, in software: lit stills, heat maps, outlines and UV
// layouts. The same input gives the same pixels on every processor and with any number of threads.
package raster
