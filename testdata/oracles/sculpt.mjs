// Makes a sculpt of a real prop by a known amount: every triangle is cut into cuts² and pressed in along the normals
// averaged by position, but for a hill on the largest triangle, which stands out along that triangle's own normal. In:
// {"path"} of a .glb, "out" the .glb to write, "cuts" a multiple of 3, "inward" and "hill" in metres. Out: {"triangles"
// of the sculpt, "area" of it, "proud": the area of its triangles that stand outside, all three corners of them or more
// than none, as "proudLow" and "proudHigh", "top": where the hill ends, "pressed": the largest displacement inward}.
import { Document, NodeIO } from '@gltf-transform/core';
import { ALL_EXTENSIONS } from '@gltf-transform/extensions';
import { serve } from './lines.mjs';

const io = new NodeIO().registerExtensions(ALL_EXTENSIONS);
const sub = (a, b) => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
const length = (a) => Math.hypot(...a);
const unit = (a) => { const l = length(a); return l > 0 ? a.map((x) => x / l) : [0, 0, 0]; };

// soup lists the corners of every triangle of the default scene in world space.
function soup(doc) {
  const scene = doc.getRoot().getDefaultScene() ?? doc.getRoot().listScenes()[0];
  const out = [];
  scene.traverse((node) => {
    const m = node.getWorldMatrix();
    for (const prim of node.getMesh()?.listPrimitives() ?? []) {
      const pos = prim.getAttribute('POSITION'), index = prim.getIndices();
      if (prim.getMode() !== 4) throw new Error('not a list of triangles');
      for (let i = 0; i < (index ?? pos).getCount(); i++) {
        const [x, y, z] = pos.getElement(index ? index.getScalar(i) : i, [0, 0, 0]);
        out.push([0, 1, 2].map((r) => m[r] * x + m[4 + r] * y + m[8 + r] * z + m[12 + r]));
      }
    }
  });
  return out;
}

await serve(async ({ path, out, cuts, inward, hill }) => {
  const p = soup(await io.read(path));
  const key = (v) => v.map((x) => Math.fround(x)).join(' ');
  const sums = new Map();
  let largest = 0, most = 0;
  for (let t = 0; t < p.length; t += 3) {
    const n = cross(sub(p[t + 1], p[t]), sub(p[t + 2], p[t])); // twice the area long: the weight
    if (length(n) > most) [largest, most] = [t, length(n)];
    for (let k = 0; k < 3; k++) {
      const s = sums.get(key(p[t + k])) ?? [0, 0, 0];
      sums.set(key(p[t + k]), s.map((x, r) => x + n[r]));
    }
  }
  const pos = [], tri = [], stands = [];
  let pressed = 0, top = null;
  for (let t = 0; t < p.length; t += 3) {
    const face = unit(cross(sub(p[t + 1], p[t]), sub(p[t + 2], p[t])));
    const ns = [0, 1, 2].map((k) => unit(sums.get(key(p[t + k]))));
    const first = pos.length / 3, rows = [];
    for (let i = 0; i <= cuts; i++) {
      rows.push(pos.length / 3);
      for (let j = 0; j <= cuts - i; j++) {
        const w = [(cuts - i - j) / cuts, i / cuts, j / cuts];
        const mix = (v) => [0, 1, 2].map((r) => w[0] * v[0][r] + w[1] * v[1][r] + w[2] * v[2][r]);
        const rise = t === largest ? 27 * w[0] * w[1] * w[2] : 0; // 1 at the middle, 0 on the edges
        const n = unit(mix(ns)), down = inward * (1 - rise);
        const at = mix([p[t], p[t + 1], p[t + 2]]).map((x, r) => x - n[r] * down + face[r] * hill * rise);
        pressed = Math.max(pressed, down * length(n));
        if (rise > 1 - 1e-9) top = at;
        pos.push(...at);
        stands.push(rise > 0 && hill * rise > down);
      }
    }
    for (let i = 0; i < cuts; i++) for (let j = 0; j < cuts - i; j++) {
      tri.push(rows[i] + j, rows[i + 1] + j, rows[i] + j + 1);
      if (j < cuts - i - 1) tri.push(rows[i + 1] + j, rows[i + 1] + j + 1, rows[i] + j + 1);
    }
    if (first + (cuts + 1) * (cuts + 2) / 2 !== pos.length / 3) throw new Error('lost a vertex');
  }
  let area = 0, proudLow = 0, proudHigh = 0;
  const at = (v) => [pos[3 * v], pos[3 * v + 1], pos[3 * v + 2]];
  for (let k = 0; k < tri.length; k += 3) {
    const [a, b, c] = [tri[k], tri[k + 1], tri[k + 2]];
    const s = length(cross(sub(at(b), at(a)), sub(at(c), at(a)))) / 2;
    const n = stands[a] + stands[b] + stands[c];
    area += s;
    if (n === 3) proudLow += s;
    if (n > 0) proudHigh += s;
  }
  const doc = new Document(), buffer = doc.createBuffer();
  const prim = doc.createPrimitive()
    .setAttribute('POSITION', doc.createAccessor().setType('VEC3').setArray(new Float32Array(pos)).setBuffer(buffer))
    .setIndices(doc.createAccessor().setType('SCALAR').setArray(new Uint32Array(tri)).setBuffer(buffer));
  doc.createScene().addChild(doc.createNode('sculpt').setMesh(doc.createMesh('sculpt').addPrimitive(prim)));
  await new NodeIO().write(out, doc);
  return { triangles: tri.length / 3, area, proudLow, proudHigh, top, pressed };
});
