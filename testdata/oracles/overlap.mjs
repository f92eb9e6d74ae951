// Areas of a layout by exact polygon clipping in whole numbers (clipper2-wasm). In: {"triangles": [[x0, y0, x1, y1, x2, y2], …]}
// in whole numbers, any winding. Out: {"covered": area under one triangle or more, "twice": under two or more}, in squares of
// the unit. Winding numbers do it: every triangle counts one, and for "twice" a frame round everything counts minus one.
import { createRequire } from 'node:module';
import { serve } from './lines.mjs';

const factory = createRequire(import.meta.url)('clipper2-wasm');
const c = await (factory.default ?? factory)();

function area(triangles, frame) {
  const paths = new c.Paths64();
  const add = (list) => {
    const path = c.MakePath64(list.map((v) => BigInt(Math.round(v))));
    paths.push_back(path);
    path.delete();
  };
  let far = 1;
  for (const t of triangles) {
    const [x0, y0, x1, y1, x2, y2] = t;
    const twice = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0);
    for (const v of t) far = Math.max(far, Math.abs(v));
    if (twice > 0) add(t);
    if (twice < 0) add([x0, y0, x2, y2, x1, y1]);
  }
  far += 1000;
  if (frame) add([-far, -far, -far, far, far, far, far, -far]);
  const out = c.UnionSelf64(paths, c.FillRule.Positive);
  const a = Math.abs(c.AreaPaths64(out));
  out.delete();
  paths.delete();
  return a;
}

await serve(async ({ triangles }) => ({ covered: area(triangles, false), twice: area(triangles, true) }));
