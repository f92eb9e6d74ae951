// The glTF standard's own validator. In: {"path", "max": issues kept}. Out: {"errors", "warnings": counts, "codes":
// [{"code", "severity", "pointer", "message"}], "triangles", "vertices", "drawCalls", "materials"}.
// Files that the model refers to are read from its own folder and below, nothing else.
import { readFile } from 'node:fs/promises';
import { basename, dirname, join, normalize, isAbsolute } from 'node:path';
import validator from 'gltf-validator';
import { serve } from './lines.mjs';

await serve(async ({ path, max = 200 }) => {
  const bytes = new Uint8Array(await readFile(path));
  const report = await validator.validateBytes(bytes, {
    uri: basename(path),
    maxIssues: max,
    externalResourceFunction: async (uri) => {
      const local = normalize(decodeURIComponent(uri));
      if (isAbsolute(local) || local.startsWith('..')) throw new Error('outside the delivery');
      return new Uint8Array(await readFile(join(dirname(path), local)));
    },
  });
  return {
    errors: report.issues.numErrors,
    warnings: report.issues.numWarnings,
    codes: report.issues.messages.map((m) => ({ code: m.code, severity: m.severity, pointer: m.pointer ?? '', message: m.message })),
    triangles: report.info?.totalTriangleCount ?? 0,
    vertices: report.info?.totalVertexCount ?? 0,
    drawCalls: report.info?.drawCallCount ?? 0,
    materials: report.info?.materialCount ?? 0,
  };
});
