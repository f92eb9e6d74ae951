// Closest points and nearest hits by three-mesh-bvh. In: {"pos": file of float32 xyz, "tri": file of uint32, three a
// triangle, "points": file of float32 xyz, "rays": file of seven float32 a ray (origin, unit direction, reach),
// "distances", "hits": files to write, one float32 a query; -1 for a ray that misses}. Out: {"points", "rays": counts}.
import { readFileSync, writeFileSync } from 'node:fs';
import { BufferAttribute, BufferGeometry, DoubleSide, Ray, Vector3 } from 'three';
import { MeshBVH } from 'three-mesh-bvh';
import { serve } from './lines.mjs';

const read = (path, Type) => new Type(new Uint8Array(readFileSync(path)).buffer);

await serve(({ pos, tri, points, rays, distances, hits }) => {
  const geometry = new BufferGeometry();
  geometry.setAttribute('position', new BufferAttribute(read(pos, Float32Array), 3));
  geometry.setIndex(new BufferAttribute(read(tri, Uint32Array), 1));
  const bvh = new MeshBVH(geometry);

  const p = read(points, Float32Array), d = new Float32Array(p.length / 3), at = new Vector3(), target = {};
  for (let i = 0; i < d.length; i++) {
    at.set(p[3 * i], p[3 * i + 1], p[3 * i + 2]);
    d[i] = bvh.closestPointToPoint(at, target).distance;
  }
  writeFileSync(distances, new Uint8Array(d.buffer));

  const r = read(rays, Float32Array), t = new Float32Array(r.length / 7), ray = new Ray();
  for (let i = 0; i < t.length; i++) {
    ray.origin.set(r[7 * i], r[7 * i + 1], r[7 * i + 2]);
    ray.direction.set(r[7 * i + 3], r[7 * i + 4], r[7 * i + 5]);
    const hit = bvh.raycastFirst(ray, DoubleSide, 0, r[7 * i + 6]);
    t[i] = hit ? hit.distance : -1;
  }
  writeFileSync(hits, new Uint8Array(t.buffer));
  return { points: d.length, rays: t.length };
});
