// Convex hulls by an independent solid library (manifold-3d), and coarser copies of a mesh by an independent simplifier
// (meshoptimizer). In: {"hull": positions, three numbers each} or {"simplify": a .glb, "share" of its triangles wanted,
// "error" allowed in metres, "out": the .glb to write or none}. Out: {"volume", "corners", "triangles"} of the hull, or
// {"before", "after"} in triangles. The simplifier keeps the vertices that stay as they are, UVs and normals included.
import Module from 'manifold-3d';
import { NodeIO } from '@gltf-transform/core';
import { ALL_EXTENSIONS } from '@gltf-transform/extensions';
import { MeshoptSimplifier } from 'meshoptimizer';
import { serve } from './lines.mjs';

const wasm = await Module();
wasm.setup();
await MeshoptSimplifier.ready;
const io = new NodeIO().registerExtensions(ALL_EXTENSIONS);

function hull(flat) {
  const points = [];
  for (let i = 0; i < flat.length; i += 3) points.push([flat[i], flat[i + 1], flat[i + 2]]);
  const m = wasm.Manifold.hull(points);
  const out = { volume: m.volume(), corners: m.numVert(), triangles: m.numTri() };
  m.delete();
  return out;
}

async function simplify({ simplify: path, share, error, out }) {
  const doc = await io.read(path);
  const counts = { before: 0, after: 0 };
  for (const mesh of doc.getRoot().listMeshes()) for (const prim of mesh.listPrimitives()) {
    if (prim.getMode() !== 4) continue;
    const pos = prim.getAttribute('POSITION'), flat = new Float32Array(3 * pos.getCount());
    for (let i = 0; i < pos.getCount(); i++) flat.set(pos.getElement(i, [0, 0, 0]), 3 * i);
    const given = prim.getIndices(), n = (given ?? pos).getCount();
    const index = new Uint32Array(n);
    for (let i = 0; i < n; i++) index[i] = given ? given.getScalar(i) : i;
    const target = Math.floor(share * index.length / 3) * 3;
    const [fewer] = MeshoptSimplifier.simplify(index, flat, 3, target, error ?? 1, error === undefined ? [] : ['ErrorAbsolute']);
    counts.before += index.length / 3;
    counts.after += fewer.length / 3;
    prim.setIndices(doc.createAccessor().setType('SCALAR').setArray(new Uint32Array(fewer)).setBuffer(doc.getRoot().listBuffers()[0]));
  }
  if (out) await io.write(out, doc);
  return counts;
}

await serve(async (ask) => (ask.hull ? hull(ask.hull) : simplify(ask)));
