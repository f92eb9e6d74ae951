// Compresses with the reference implementation of EXT_meshopt_compression (npm meshoptimizer).
// In: {"seed", "rounds"}: random streams of every mode, filter, version and stride.
// Out: {"cases": [{mode, filter, version, count, stride, packed, plain}]} in base64; plain is what the reference decodes.
// In: {"path", "out", "method"}: a .glb rewritten with compressed buffer views by glTF-Transform; out {"ok": true}.
import { NodeIO } from '@gltf-transform/core';
import { EXTMeshoptCompression } from '@gltf-transform/extensions';
import { MeshoptDecoder, MeshoptEncoder } from 'meshoptimizer';
import { serve } from './lines.mjs';

// random numbers of 32 bits that any machine draws alike (xorshift).
function draws(seed) {
  let s = seed | 1;
  return () => { s ^= s << 13; s ^= s >>> 17; s ^= s << 5; return s >>> 0; };
}

const b64 = (a) => Buffer.from(a.buffer, a.byteOffset, a.byteLength).toString('base64');

function decoded(c, packed) {
  const plain = new Uint8Array(c.count * c.stride);
  MeshoptDecoder.decodeGltfBuffer(plain, c.count, c.stride, packed, c.mode, c.filter);
  return { ...c, packed: b64(packed), plain: b64(plain) };
}

function attributes(next, stride, count, version, kind) {
  const src = new Uint8Array(count * stride);
  const word = new Uint32Array(src.buffer);
  for (let i = 0; i < src.length; i++) {
    if (kind === 0) src[i] = next();                                  // noise
    if (kind === 1) src[i] = (i / stride) >> 2;                       // slow
    if (kind === 2) src[i] = i % stride === 1 ? next() & 3 : 7;       // mostly still
  }
  if (kind === 3) for (let i = 0; i < word.length; i++) word[i] = 0x3f800000 + ((next() & 0xff) << 15); // floats near one
  if (kind === 4) { const s = new Int16Array(src.buffer); for (let i = 0; i < s.length; i++) s[i] = 1000 * Math.sin(i / 50); }
  const packed = MeshoptEncoder.encodeVertexBufferLevel(src, count, stride, next() % 4, version);
  return decoded({ mode: 'ATTRIBUTES', filter: 'NONE', version, count, stride }, packed);
}

function filtered(next, filter, stride, count) {
  const width = filter === 'EXPONENTIAL' ? stride / 4 : 4;
  const src = new Float32Array(count * width);
  for (let i = 0; i < count; i++) {
    const v = [0, 1, 2, 3].map(() => next() / 2 ** 31 - 1), l = filter === 'QUATERNION' ? Math.hypot(...v) : Math.hypot(v[0], v[1], v[2]);
    for (let k = 0; k < width; k++) src[width * i + k] = filter === 'EXPONENTIAL' ? (next() / 2 ** 31 - 1) * 10 ** (next() % 7 - 3) : k === 3 && filter === 'OCTAHEDRAL' ? 1 : v[k] / l;
  }
  const bits = 4 + next() % (stride === 4 ? 5 : filter === 'EXPONENTIAL' ? 20 : 13);
  const encode = { OCTAHEDRAL: MeshoptEncoder.encodeFilterOct, QUATERNION: MeshoptEncoder.encodeFilterQuat, EXPONENTIAL: MeshoptEncoder.encodeFilterExp }[filter];
  const packed = MeshoptEncoder.encodeGltfBuffer(encode(src, count, stride, bits), count, stride, 'ATTRIBUTES');
  return decoded({ mode: 'ATTRIBUTES', filter, version: 0, count, stride }, packed);
}

function indices(next, mode, stride, triangles, kind) {
  const src = stride === 2 ? new Uint16Array(3 * triangles) : new Uint32Array(3 * triangles);
  const side = Math.ceil(Math.sqrt(triangles / 2)) + 1;
  for (let t = 0; t < triangles; t++) {
    const q = t >> 1, v = Math.floor(q / (side - 1)) * side + (q % (side - 1));
    const grid = t & 1 ? [v + 1, v + side + 1, v + side] : [v, v + 1, v + side];
    for (let k = 0; k < 3; k++) src[3 * t + k] = kind === 0 ? next() % (stride === 2 ? 65536 : 1 << 28) : kind === 1 ? grid[k] : t + k;
  }
  const bytes = new Uint8Array(src.buffer);
  const packed = MeshoptEncoder.encodeGltfBuffer(bytes, src.length, stride, mode);
  return decoded({ mode, filter: 'NONE', version: 0, count: src.length, stride }, packed);
}

await MeshoptEncoder.ready;
await MeshoptDecoder.ready;
await serve(async ({ seed, rounds, path, out, method }) => {
  if (path) {
    const io = new NodeIO().registerExtensions([EXTMeshoptCompression]).registerDependencies({ 'meshopt.encoder': MeshoptEncoder, 'meshopt.decoder': MeshoptDecoder });
    const doc = await io.read(path);
    doc.createExtension(EXTMeshoptCompression).setRequired(true).setEncoderOptions({ method });
    await io.write(out, doc);
    return { ok: true };
  }
  const next = draws(seed), cases = [];
  for (let r = 0; r < rounds; r++) {
    for (const version of [0, 1]) for (let kind = 0; kind < 5; kind++) {
      cases.push(attributes(next, 4 * (1 + next() % 64), 1 + next() % 600, version, kind));
      cases.push(attributes(next, [4, 8, 12, 16, 32][next() % 5], 1 + next() % 40, version, kind));
    }
    for (const [f, s] of [['OCTAHEDRAL', 4], ['OCTAHEDRAL', 8], ['QUATERNION', 8], ['EXPONENTIAL', 12], ['EXPONENTIAL', 4]]) cases.push(filtered(next, f, s, 1 + next() % 300));
    for (const stride of [2, 4]) for (let kind = 0; kind < 3; kind++) {
      cases.push(indices(next, 'TRIANGLES', stride, 1 + next() % 500, kind));
      cases.push(indices(next, 'INDICES', stride, 1 + next() % 500, kind));
    }
  }
  return { cases };
});
