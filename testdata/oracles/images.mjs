// Writes and reads images with independent libraries: sharp (libvips), pngjs, three's TGA reader, ktx-parse, ktx2-encoder.
// In: {"dir"}: files are written there. Out: {"files": [{name, width, height, channels, bits, pixels}]}, pixels in base64,
// 16-bit values little-endian, as the library reads them back; null where nothing but the header is to be compared.
// In: {"tga": base64}: {"width", "height", "pixels"} as three's TGALoader reads them, RGBA.
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { createDefaultContainer, write } from 'ktx-parse';
import { encodeToKTX2 } from 'ktx2-encoder';
import { PNG } from 'pngjs';
import sharp from 'sharp';
import { TGALoader } from 'three/examples/jsm/loaders/TGALoader.js';
import { serve } from './lines.mjs';

console.log = () => {}; // an encoder tells what it does, and answers go out on the same stream

const b64 = (a) => Buffer.from(a.buffer, a.byteOffset, a.byteLength).toString('base64');

// A picture with smooth and noisy parts; alpha is never 0, for libraries may drop colour there.
function picture(width, height, channels, bits) {
  const full = bits === 16 ? 65535 : 255, out = bits === 16 ? new Uint16Array(width * height * channels) : new Uint8Array(width * height * channels);
  let s = 12345;
  for (let i = 0; i < out.length; i++) {
    s = (s * 1103515245 + 12345) & 0x7fffffff;
    const p = Math.floor(i / channels), x = p % width, y = Math.floor(p / width), c = i % channels;
    out[i] = Math.round(full * (c === 3 ? 0.5 + 0.4 * Math.sin(x / 9) : 0.5 + 0.3 * Math.sin(x / (5 + c)) * Math.cos(y / 7) + 0.1 * (s / 0x7fffffff)));
  }
  return out;
}

async function viaSharp(dir, name, channels, bits, encode) {
  const width = 61, height = 43, raw = picture(width, height, channels, bits);
  const img = sharp(raw, { raw: { width, height, channels } });
  const file = join(dir, name);
  await encode(bits === 16 ? img.toColourspace(channels < 3 ? 'grey16' : 'rgb16') : img).toFile(file);
  const back = bits === 16 ? sharp(file).toColourspace(channels < 3 ? 'grey16' : 'rgb16') : sharp(file);
  const { data, info } = await back.raw({ depth: bits === 16 ? 'ushort' : 'uchar' }).toBuffer({ resolveWithObject: true });
  return { name, width, height, channels: info.channels, bits, pixels: b64(data) };
}

function viaPNGJS(dir, name, colorType, bits, inChannels) {
  const width = 33, height = 20, raw = picture(width, height, inChannels, bits);
  const png = new PNG({ width, height, bitDepth: bits, colorType, inputColorType: colorType, inputHasAlpha: inChannels === 4 });
  png.data = Buffer.from(raw.buffer);
  writeFileSync(join(dir, name), PNG.sync.write(png, { width, height, bitDepth: bits, colorType, inputColorType: colorType, inputHasAlpha: inChannels === 4 }));
  return { name, width, height, channels: inChannels, bits, pixels: b64(raw) };
}

function viaKTX(dir, name, vkFormat, channels, bits) {
  const width = 8, height = 6, raw = picture(width, height, channels, bits);
  const c = createDefaultContainer();
  Object.assign(c, { vkFormat, typeSize: bits / 8, pixelWidth: width, pixelHeight: height });
  c.levels = [{ levelData: new Uint8Array(raw.buffer), uncompressedByteLength: raw.byteLength }];
  writeFileSync(join(dir, name), write(c));
  return { name, width, height, channels, bits, pixels: b64(raw) };
}

async function basis(dir, name, uastc) {
  const width = 64, height = 64;
  const raw = picture(width, height, 4, 8);
  const png = await sharp(raw, { raw: { width, height, channels: 4 } }).png().toBuffer();
  const imageDecoder = async (buffer) => {
    const { data, info } = await sharp(buffer).ensureAlpha().raw().toBuffer({ resolveWithObject: true });
    return { width: info.width, height: info.height, data: new Uint8Array(data) };
  };
  writeFileSync(join(dir, name), await encodeToKTX2(new Uint8Array(png), { isUASTC: uastc, enableDebug: false, generateMipmap: true, imageDecoder }));
  return { name, width, height, channels: 4, bits: 8, pixels: null };
}

await serve(async ({ dir, tga }) => {
  if (tga) {
    const bytes = Buffer.from(tga, 'base64');
    const t = new TGALoader().parse(bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.length));
    return { width: t.width, height: t.height, pixels: b64(t.data) };
  }
  const files = [];
  for (const [channels, bits] of [[1, 8], [3, 8], [4, 8], [3, 16], [4, 16], [1, 16]]) {
    const tag = `${channels}x${bits}`;
    files.push(await viaSharp(dir, `sharp_${tag}.png`, channels, bits, (i) => i.png()));
    files.push(await viaSharp(dir, `sharp_progressive_${tag}.png`, channels, bits, (i) => i.png({ progressive: true })));
    for (const compression of ['none', 'lzw', 'deflate']) {
      files.push(await viaSharp(dir, `sharp_${compression}_${tag}.tif`, channels, bits, (i) => i.tiff({ compression, predictor: compression === 'none' ? 'none' : 'horizontal' })));
    }
  }
  files.push(await viaSharp(dir, 'sharp_palette.png', 3, 8, (i) => i.png({ palette: true })));
  files.push(await viaSharp(dir, 'sharp_tiled.tif', 3, 8, (i) => i.tiff({ compression: 'lzw', tile: true, tileWidth: 16, tileHeight: 16 })));
  for (const chromaSubsampling of ['4:4:4', '4:2:0']) {
    files.push(await viaSharp(dir, `sharp_${chromaSubsampling.replaceAll(':', '')}.jpg`, 3, 8, (i) => i.jpeg({ quality: 90, chromaSubsampling })));
  }
  files.push(await viaSharp(dir, 'sharp_progressive.jpg', 3, 8, (i) => i.jpeg({ quality: 90, progressive: true, chromaSubsampling: '4:4:4' })));
  files.push(viaPNGJS(dir, 'pngjs_rgb16.png', 2, 16, 3), viaPNGJS(dir, 'pngjs_rgba16.png', 6, 16, 4), viaPNGJS(dir, 'pngjs_rgba8.png', 6, 8, 4));
  for (const [vk, channels, bits] of [[9, 1, 8], [16, 2, 8], [23, 3, 8], [37, 4, 8], [43, 4, 8], [70, 1, 16], [77, 2, 16], [91, 4, 16]]) {
    files.push(viaKTX(dir, `ktx_${vk}.ktx2`, vk, channels, bits));
  }
  files.push(await basis(dir, 'uastc.ktx2', true), await basis(dir, 'etc1s.ktx2', false));
  return { files };
});
