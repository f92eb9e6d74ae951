// Makes a game mesh from a scan with a general mesh library (meshoptimizer). In: {"ply": an ASCII .ply, "triangles"
// wanted, "out": the .glb to write}. Out: {"scan", "game": triangles of both, "diagonal" of the scan}. Every triangle of
// the game mesh gets a cell of its own in the texture, so that nothing overlaps; normals are smooth.
import { Document, NodeIO } from '@gltf-transform/core';
import { MeshoptSimplifier } from 'meshoptimizer';
import { serve } from './lines.mjs';
import { fromPLY } from './ply.mjs';

await serve(async ({ ply, triangles, out }) => {
  const scan = fromPLY(ply);
  await MeshoptSimplifier.ready;
  const [index] = MeshoptSimplifier.simplify(scan.tri, scan.pos, 3, 3 * triangles, 1);
  const n = index.length / 3, cells = Math.ceil(Math.sqrt(n));
  const pos = new Float32Array(9 * n), nrm = new Float32Array(9 * n), uv = new Float32Array(6 * n);
  const sums = new Float64Array(scan.pos.length);
  const at = (v) => [scan.pos[3 * v], scan.pos[3 * v + 1], scan.pos[3 * v + 2]];
  for (let t = 0; t < n; t++) {
    const [a, b, c] = [at(index[3 * t]), at(index[3 * t + 1]), at(index[3 * t + 2])];
    const u = b.map((x, r) => x - a[r]), v = c.map((x, r) => x - a[r]);
    const w = [u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]];
    for (let k = 0; k < 3; k++) for (let r = 0; r < 3; r++) sums[3 * index[3 * t + k] + r] += w[r];
  }
  for (let t = 0; t < n; t++) {
    const corner = [(t % cells) / cells, Math.floor(t / cells) / cells], side = 0.8 / cells;
    for (let k = 0; k < 3; k++) {
      const v = index[3 * t + k], l = Math.hypot(sums[3 * v], sums[3 * v + 1], sums[3 * v + 2]) || 1;
      for (let r = 0; r < 3; r++) {
        pos[9 * t + 3 * k + r] = scan.pos[3 * v + r];
        nrm[9 * t + 3 * k + r] = l === 1 ? (r === 1 ? 1 : 0) : sums[3 * v + r] / l;
      }
      uv[6 * t + 2 * k] = corner[0] + (k === 1 ? side : 0);
      uv[6 * t + 2 * k + 1] = corner[1] + (k === 2 ? side : 0);
    }
  }
  const doc = new Document(), buffer = doc.createBuffer();
  const accessor = (type, array) => doc.createAccessor().setType(type).setArray(array).setBuffer(buffer);
  const prim = doc.createPrimitive().setAttribute('POSITION', accessor('VEC3', pos)).setAttribute('NORMAL', accessor('VEC3', nrm))
    .setAttribute('TEXCOORD_0', accessor('VEC2', uv)).setMaterial(doc.createMaterial('scan'));
  doc.createScene().addChild(doc.createNode('scan').setMesh(doc.createMesh('scan').addPrimitive(prim)));
  await new NodeIO().write(out, doc);
  const lo = [Infinity, Infinity, Infinity], hi = [-Infinity, -Infinity, -Infinity];
  for (let i = 0; i < scan.pos.length; i++) { lo[i % 3] = Math.min(lo[i % 3], scan.pos[i]); hi[i % 3] = Math.max(hi[i % 3], scan.pos[i]); }
  return { scan: scan.tri.length / 3, game: n, diagonal: Math.hypot(...hi.map((x, r) => x - lo[r])) };
});
