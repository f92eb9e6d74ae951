// MikkTSpace tangents by the npm package mikktspace, which runs the algorithm's published implementation. In: {"pos",
// "nrm", "uv"}, each base64 of little-endian float32, one entry a corner. Out: {"tan"}, 4 a corner, as the package gives them:
// for glTF the sign of the fourth is to be turned round.
import { createRequire } from 'node:module';
import { serve } from './lines.mjs';

const { generateTangents } = createRequire(import.meta.url)('mikktspace');

function floats(text) {
  const bytes = Buffer.from(text, 'base64');
  return new Float32Array(bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.byteLength));
}

await serve(async ({ pos, nrm, uv }) => {
  const tan = generateTangents(floats(pos), floats(nrm), floats(uv));
  return { tan: Buffer.from(tan.buffer, tan.byteOffset, tan.byteLength).toString('base64') };
});
