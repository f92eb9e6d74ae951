// Layouts without overlap, made by watlas. In: {"positions": […], "indices": […], "padding", "resolution" in texels}. Out:
// {"width", "height", "uv": two a vertex, 0 to 1, "xref": the vertex in the input, "indices", "charts"}.
import * as watlas from 'watlas';
import { serve } from './lines.mjs';

await watlas.Initialize();

await serve(async ({ positions, indices, padding, resolution }) => {
  const atlas = new watlas.Atlas();
  atlas.addMesh({
    vertexPositionData: new Float32Array(positions), vertexCount: positions.length / 3, vertexPositionStride: 12,
    indexData: new Uint32Array(indices), indexCount: indices.length,
  });
  atlas.generate({}, { padding, resolution, bilinear: true });
  const mesh = atlas.getMesh(0);
  const out = { width: atlas.width, height: atlas.height, uv: [], xref: [], charts: atlas.chartCount, atlases: atlas.atlasCount };
  for (let j = 0; j < mesh.vertexCount; j++) {
    const v = mesh.getVertex(j);
    out.uv.push(v.uv[0] / atlas.width, v.uv[1] / atlas.height);
    out.xref.push(v.xref);
  }
  const list = new Uint32Array(mesh.indexCount);
  mesh.getIndexArray(list);
  out.indices = [...list];
  atlas.delete();
  return out;
});
