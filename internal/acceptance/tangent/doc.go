// Package tangent makes the tangent space that glTF 2.0 demands of a renderer where a file brings none: MikkTSpace
// (glTF 2.0, section 3.7.2.1: "default MikkTSpace algorithms").
//
// The method is M. S. Mikkelsen, "Simulation of Wrinkled Surfaces Revisited", University of Copenhagen 2008, with the rules
// of its author's public implementation for welding, grouping and degenerate triangles, and its default angular threshold
// of 180 degrees. Arithmetic is in float32 in the order of that implementation, each product rounded by itself, so that
// tangents agree with it bit for bit and with each other on every processor.
//
// Arrays are flat: positions and normals 3 a vertex, UVs 2 a vertex (V down, as glTF has it), triangles 3 indices each.
// Tangents come 4 a corner of a triangle: a vertex can need different ones in different triangles. The bitangent is
// cross(normal, tangent) times the fourth value.
package tangent
