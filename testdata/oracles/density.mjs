// Texel density and vertices by an independent reader of geometry (three's GLTFLoader; its textures do not load in
// Node.js, so image sizes come from glTF-Transform). In: {"path"} of a .glb. Out: {"materials": [{"name", "width",
// "height" of its base colour, "triangles" drawn, "vertices": distinct tuples of all attributes used by a triangle, per
// draw, "uvArea" of the tile, "area" in square metres, "min", "max": root of uvArea/area over triangles with an area}]}.
import { readFile } from 'node:fs/promises';
import { Vector3 } from 'three';
import { NodeIO } from '@gltf-transform/core';
import { ALL_EXTENSIONS } from '@gltf-transform/extensions';
import { serve } from './lines.mjs';

globalThis.self = globalThis;
const { GLTFLoader } = await import('three/addons/loaders/GLTFLoader.js');
const io = new NodeIO().registerExtensions(ALL_EXTENSIONS);

// bare takes textures and images out of a GLB's JSON, so that nothing tries to load them.
function bare(bytes) {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const length = view.getUint32(12, true);
  const json = JSON.parse(new TextDecoder().decode(bytes.subarray(20, 20 + length)));
  delete json.textures; delete json.images; delete json.samplers; delete json.animations;
  json.materials = (json.materials ?? []).map((m) => ({ name: m.name }));
  const text = new TextEncoder().encode(JSON.stringify(json));
  const padded = new Uint8Array((text.length + 3) & ~3).fill(0x20);
  padded.set(text);
  const rest = bytes.subarray(20 + length);
  const out = new Uint8Array(20 + padded.length + rest.length);
  const head = new DataView(out.buffer);
  head.setUint32(0, 0x46546c67, true); head.setUint32(4, 2, true); head.setUint32(8, out.length, true);
  head.setUint32(12, padded.length, true); head.setUint32(16, 0x4e4f534a, true);
  out.set(padded, 20); out.set(rest, 20 + padded.length);
  return out.buffer;
}

function distinct(geometry) {
  const names = Object.keys(geometry.attributes).filter((n) => !n.startsWith('skin')).sort();
  const used = new Set(), seen = new Set(), index = geometry.index;
  for (let i = 0; i < index.count; i++) used.add(index.getX(i));
  for (const v of used) {
    const key = [];
    for (const n of names) {
      const a = geometry.attributes[n];
      for (let k = 0; k < a.itemSize; k++) key.push(Math.fround(a.getComponent(v, k)) + 0);
    }
    seen.add(key.join(' '));
  }
  return seen.size;
}

await serve(async ({ path }) => {
  const bytes = new Uint8Array(await readFile(path));
  const doc = await io.readBinary(bytes);
  const out = doc.getRoot().listMaterials().map((m) => {
    const size = m.getBaseColorTexture()?.getSize() ?? [0, 0];
    return { name: m.getName(), width: size[0], height: size[1], triangles: 0, vertices: 0, uvArea: 0, area: 0, min: Infinity, max: 0 };
  });
  const gltf = await new GLTFLoader().parseAsync(bare(bytes), '');
  gltf.scene.updateMatrixWorld(true);
  const [a, b, c] = [new Vector3(), new Vector3(), new Vector3()];
  gltf.scene.traverse((o) => {
    if (!o.isMesh) return;
    const at = gltf.parser.associations.get(o.material)?.materials;
    const m = out[at];
    if (!m) return;
    const { position, uv } = o.geometry.attributes, index = o.geometry.index;
    m.vertices += distinct(o.geometry);
    for (let i = 0; i + 2 < index.count; i += 3) {
      const [p, q, r] = [index.getX(i), index.getX(i + 1), index.getX(i + 2)];
      a.fromBufferAttribute(position, p).applyMatrix4(o.matrixWorld);
      b.fromBufferAttribute(position, q).applyMatrix4(o.matrixWorld);
      c.fromBufferAttribute(position, r).applyMatrix4(o.matrixWorld);
      b.sub(a); c.sub(a);
      const area = b.clone().cross(c).length() / 2;
      const [ux, uy, vx, vy] = [uv.getX(q) - uv.getX(p), uv.getY(q) - uv.getY(p), uv.getX(r) - uv.getX(p), uv.getY(r) - uv.getY(p)];
      const uvArea = Math.abs(ux * vy - uy * vx) / 2;
      m.triangles++;
      m.uvArea += uvArea; m.area += area;
      // The same meaning of "no area" as ours: thinner than the rounding of single precision where it stands.
      const far = Math.max(...[p, q, r].flatMap((v) => { a.fromBufferAttribute(position, v).applyMatrix4(o.matrixWorld); return [Math.abs(a.x), Math.abs(a.y), Math.abs(a.z)]; }));
      const longest = Math.max(b.length(), c.length(), b.distanceTo(c));
      if (2 * area / longest > far / 2 ** 22) {
        const d = Math.sqrt(uvArea / area);
        m.min = Math.min(m.min, d); m.max = Math.max(m.max, d);
      }
    }
  });
  return { materials: out };
});
