// Counts and sums by an independent glTF library. In: {"path"}. Out: {"triangles" as drawn by the default scene,
// "vertices" of all its primitives, "primitives" drawn, "materials", "meshes", "nodes", "min", "max" of the scene in
// world space, "area" of its triangles in world space in square metres}.
import { NodeIO, Primitive } from '@gltf-transform/core';
import { ALL_EXTENSIONS } from '@gltf-transform/extensions';
import { serve } from './lines.mjs';

const io = new NodeIO().registerExtensions(ALL_EXTENSIONS);

function triangles(prim) {
  const n = (prim.getIndices() ?? prim.getAttribute('POSITION')).getCount();
  switch (prim.getMode()) {
    case Primitive.Mode.TRIANGLES: return Math.floor(n / 3);
    case Primitive.Mode.TRIANGLE_STRIP:
    case Primitive.Mode.TRIANGLE_FAN: return Math.max(n - 2, 0);
  }
  return 0;
}

// corners calls f with the three vertex numbers of each triangle.
function corners(prim, f) {
  const indices = prim.getIndices();
  const at = (i) => (indices ? indices.getScalar(i) : i);
  const n = triangles(prim);
  for (let i = 0; i < n; i++) {
    switch (prim.getMode()) {
      case Primitive.Mode.TRIANGLES: f(at(3 * i), at(3 * i + 1), at(3 * i + 2)); break;
      case Primitive.Mode.TRIANGLE_STRIP: f(at(i), at(i + 1), at(i + 2)); break;
      default: f(at(0), at(i + 1), at(i + 2));
    }
  }
}

await serve(async ({ path }) => {
  const doc = await io.read(path);
  const root = doc.getRoot();
  const scene = root.getDefaultScene() ?? root.listScenes()[0];
  const out = { triangles: 0, vertices: 0, primitives: 0, materials: root.listMaterials().length, meshes: root.listMeshes().length,
    nodes: root.listNodes().length, min: [Infinity, Infinity, Infinity], max: [-Infinity, -Infinity, -Infinity], area: 0 };
  const seen = new Set();
  scene.traverse((node) => {
    const mesh = node.getMesh();
    if (!mesh) return;
    const m = node.getWorldMatrix();
    for (const prim of mesh.listPrimitives()) {
      out.primitives++;
      out.triangles += triangles(prim);
      const pos = prim.getAttribute('POSITION');
      if (!seen.has(prim)) { seen.add(prim); out.vertices += pos.getCount(); }
      const world = (i) => {
        const [x, y, z] = pos.getElement(i, [0, 0, 0]);
        return [0, 1, 2].map((r) => m[r] * x + m[4 + r] * y + m[8 + r] * z + m[12 + r]);
      };
      corners(prim, (i, j, k) => {
        const [a, b, c] = [world(i), world(j), world(k)];
        for (const p of [a, b, c]) for (let r = 0; r < 3; r++) {
          out.min[r] = Math.min(out.min[r], p[r]);
          out.max[r] = Math.max(out.max[r], p[r]);
        }
        const u = b.map((v, r) => v - a[r]), w = c.map((v, r) => v - a[r]);
        out.area += 0.5 * Math.hypot(u[1] * w[2] - u[2] * w[1], u[2] * w[0] - u[0] * w[2], u[0] * w[1] - u[1] * w[0]);
      });
    }
  });
  return out;
});
