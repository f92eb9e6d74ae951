// How far two surfaces are apart, by an independent reader (glTF-Transform) and an independent tree (three-mesh-bvh). In:
// {"from", "to": a .glb or an ASCII .ply, "samples": how many points of "from" in all at least}. Every triangle of "from"
// is cut evenly, as finely as its area wants; each point stands for the area of its piece. Out, in metres: {"mean",
// "rms", "p95", "p99", "max", "points"}.
import { BufferAttribute, BufferGeometry, Vector3 } from 'three';
import { MeshBVH } from 'three-mesh-bvh';
import { NodeIO } from '@gltf-transform/core';
import { ALL_EXTENSIONS } from '@gltf-transform/extensions';
import { serve } from './lines.mjs';
import { fromPLY } from './ply.mjs';

const io = new NodeIO().registerExtensions(ALL_EXTENSIONS);

async function read(path) {
  if (path.endsWith('.ply')) return fromPLY(path);
  const doc = await io.read(path), pos = [], tri = [];
  (doc.getRoot().getDefaultScene() ?? doc.getRoot().listScenes()[0]).traverse((node) => {
    const m = node.getWorldMatrix();
    for (const prim of node.getMesh()?.listPrimitives() ?? []) {
      const first = pos.length / 3, p = prim.getAttribute('POSITION'), index = prim.getIndices();
      for (let i = 0; i < p.getCount(); i++) {
        const [x, y, z] = p.getElement(i, [0, 0, 0]);
        for (let r = 0; r < 3; r++) pos.push(m[r] * x + m[4 + r] * y + m[8 + r] * z + m[12 + r]);
      }
      for (let i = 0; i < (index ?? p).getCount(); i++) tri.push(first + (index ? index.getScalar(i) : i));
    }
  });
  return { pos: new Float32Array(pos), tri: new Uint32Array(tri) };
}

await serve(async ({ from, to, samples }) => {
  const a = await read(from), b = await read(to);
  const geometry = new BufferGeometry();
  geometry.setAttribute('position', new BufferAttribute(b.pos, 3));
  geometry.setIndex(new BufferAttribute(b.tri, 1));
  const bvh = new MeshBVH(geometry), target = {};
  const corner = (t, k) => new Vector3().fromArray(a.pos, 3 * a.tri[3 * t + k]);
  const areas = [];
  let total = 0;
  for (let t = 0; t < a.tri.length / 3; t++) {
    const p = corner(t, 0);
    areas.push(corner(t, 1).sub(p).cross(corner(t, 2).sub(p)).length() / 2);
    total += areas[t];
  }
  const found = [];
  for (let t = 0; t < areas.length; t++) {
    const [p, q, r] = [corner(t, 0), corner(t, 1), corner(t, 2)];
    const cuts = Math.max(1, Math.ceil(Math.sqrt(samples * areas[t] / total))), share = areas[t] / (cuts * cuts);
    const at = (u, v) => {
      const d = bvh.closestPointToPoint(p.clone().multiplyScalar(1 - u - v).addScaledVector(q, u).addScaledVector(r, v), target).distance;
      found.push([d, share]);
    };
    for (let i = 0; i < cuts; i++) for (let j = 0; j < cuts - i; j++) { // the middles of the pieces
      at((i + 1 / 3) / cuts, (j + 1 / 3) / cuts);
      if (j < cuts - i - 1) at((i + 2 / 3) / cuts, (j + 2 / 3) / cuts);
    }
  }
  found.sort((x, y) => x[0] - y[0]);
  const out = { mean: 0, rms: 0, p95: 0, p99: 0, max: found.at(-1)[0], points: found.length };
  let run = 0;
  for (const [d, w] of found) {
    const before = run;
    run += w;
    out.mean += d * w / total; out.rms += d * d * w / total;
    for (const [name, share] of [['p95', 0.95], ['p99', 0.99]]) if (before < share * total && run >= share * total) out[name] = d;
  }
  out.rms = Math.sqrt(out.rms);
  return out;
});
