// How triangles hang together, by counting edges in a map, by an independent library for solids (manifold-3d) and by an
// independent tree and triangle test (three-mesh-bvh). In: {"load": name of a package} for a mesh as that package has it, out:
// {"pos", "tri"}. Or in: {"pos", "tri", "pairs": whether crossing pairs are wanted}, out: {"edges", "boundary" with one face,
// "crowded" with more than two, "manifold": whether the library takes it as a solid, "volume" if so, "crossing": pairs without
// a place in common that meet, each as [low, high]}. Vertices at exactly equal places are one; triangles that then use a
// place twice are left out.
import { createRequire } from 'node:module';
import { BufferAttribute, BufferGeometry, Matrix4 } from 'three';
import { MeshBVH } from 'three-mesh-bvh';
import Module from 'manifold-3d';
import { serve } from './lines.mjs';

const require = createRequire(import.meta.url);
const solids = await Module();
solids.setup();

function load(name) {
  const m = require(name);
  return { pos: m.positions.flat(), tri: m.cells.flatMap((c) => c.slice(1, -1).flatMap((_, i) => [c[0], c[i + 1], c[i + 2]])) };
}

function weld(pos, tri) {
  const places = new Map(), of = [], at = [];
  for (let v = 0; v < pos.length / 3; v++) {
    const p = [0, 1, 2].map((k) => Math.fround(pos[3 * v + k]) + 0), key = p.join(' ');
    if (!places.has(key)) { places.set(key, at.length / 3); at.push(...p); }
    of.push(places.get(key));
  }
  const kept = [];
  for (let t = 0; t < tri.length / 3; t++) {
    const c = [0, 1, 2].map((k) => of[tri[3 * t + k]]);
    if (c[0] !== c[1] && c[1] !== c[2] && c[2] !== c[0]) kept.push({ t, c });
  }
  return { at, kept };
}

function edges(kept) {
  const uses = new Map();
  for (const { c } of kept) for (let k = 0; k < 3; k++) {
    const a = c[k], b = c[(k + 1) % 3], key = Math.min(a, b) + ' ' + Math.max(a, b);
    uses.set(key, (uses.get(key) ?? 0) + 1);
  }
  let boundary = 0, crowded = 0;
  for (const n of uses.values()) { if (n === 1) boundary++; if (n > 2) crowded++; }
  return { edges: uses.size, boundary, crowded };
}

function solid(at, kept) {
  try {
    const mesh = new solids.Mesh({ numProp: 3, vertProperties: new Float32Array(at), triVerts: new Uint32Array(kept.flatMap((x) => x.c)) });
    const m = new solids.Manifold(mesh), out = { manifold: m.status() === 'NoError', volume: m.volume() };
    m.delete();
    return out;
  } catch {
    return { manifold: false, volume: 0 };
  }
}

function crossing(at, kept) {
  const g = new BufferGeometry();
  g.setAttribute('position', new BufferAttribute(new Float32Array(at), 3));
  g.setIndex(new BufferAttribute(new Uint32Array(kept.flatMap((x) => x.c)), 1));
  const bvh = new MeshBVH(g, { indirect: true }), out = [];
  bvh.bvhcast(bvh, new Matrix4(), {
    intersectsTriangles(p, q, i, j) {
      const a = bvh.resolveTriangleIndex(i), b = bvh.resolveTriangleIndex(j);
      if (a < b && !kept[a].c.some((v) => kept[b].c.includes(v)) && p.intersectsTriangle(q)) out.push([kept[a].t, kept[b].t]);
      return false;
    },
  });
  return out;
}

await serve(async (q) => {
  if (q.load) return load(q.load);
  const { at, kept } = weld(q.pos, q.tri);
  return { ...edges(kept), ...solid(at, kept), crossing: q.pairs ? crossing(at, kept) : [] };
});
